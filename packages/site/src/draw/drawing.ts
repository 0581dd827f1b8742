import type { NodeKind, PortRef } from "../model/site-model.ts";

/** What a site's plan would be by what was seen of it. */
export interface Drawing {
  readonly site: string;
  /** By number, with the subnet that its hosts are in; empty where all is one VLAN. */
  readonly vlans: ReadonlyMap<number, { readonly ipv4: string | null; readonly ipv6: string | null }>;
  readonly nodes: readonly DrawnNode[];
  readonly links: readonly DrawnLink[];
  /** What was not seen, or where what was seen disagrees: sentences. */
  readonly questions: readonly string[];
}

export interface DrawnNode extends Drawn {
  readonly name: string;
  readonly kind: NodeKind;
  /** Of a host: null where none runs on it. */
  readonly agent: string | null;
  readonly addresses: readonly string[];
  readonly management: string | null;
}

export interface DrawnLink extends Drawn {
  readonly a: PortRef;
  readonly b: PortRef;
  readonly speedBps: number | null;
  readonly vlans: readonly number[];
  readonly isBlocked: boolean;
}

interface Drawn {
  /** `seen`: somebody said so; `concluded`: it follows from what was seen; `open`: it had to be invented, and has to be answered. */
  readonly by: "seen" | "concluded" | "open";
  /** On what that rests, as half a sentence. */
  readonly because: string;
}
