import type { Socket as DatagramSocket } from "node:dgram";
import type { Server } from "node:net";

/**
 * What the practice host (the program inside the namespaces) and the process that raised the site say to each other
 * over Node's IPC channel. When the channel closes, the host ends, and the kernel takes everything inside with it.
 */
export const PRACTICE_PROTOCOL = 1;

/** `node main.js <marker> <site id> <site name>`: how other processes of the same user find a standing site in /proc. */
export const PRACTICE_HOST_MARKER = "--dyetrace-practice-site";

export type ToPracticeHost =
  | {
      readonly kind: "run";
      readonly id: number;
      readonly argv: readonly string[];
      readonly stdin: string;
      readonly env: Readonly<Record<string, string>>;
    }
  | {
      readonly kind: "spawn";
      readonly id: number;
      readonly argv: readonly string[];
      readonly env: Readonly<Record<string, string>>;
      readonly cwd: string | null;
    }
  /** `pid` as the host sees it; the signal goes to its whole process group. */
  | { readonly kind: "signal"; readonly pid: number; readonly signal: NodeJS.Signals }
  /** Answered with the listening server as the message's handle. */
  | { readonly kind: "listen"; readonly id: number; readonly address: string; readonly port: number }
  /** Answered with a bound UDP socket as the message's handle. */
  | { readonly kind: "datagram"; readonly id: number; readonly address: string }
  /** Ends what was spawned, then the host. */
  | { readonly kind: "end" };

export type FromPracticeHost =
  | { readonly kind: "ready"; readonly protocol: number }
  | {
      readonly kind: "ran";
      readonly id: number;
      readonly code: number | null;
      readonly stdout: string;
      readonly stderr: string;
    }
  | { readonly kind: "spawned"; readonly id: number; readonly pid: number }
  | { readonly kind: "listening"; readonly id: number }
  | { readonly kind: "bound"; readonly id: number }
  /** The host could not do it at all, for example because there is no such program. */
  | { readonly kind: "failed"; readonly id: number; readonly message: string }
  | { readonly kind: "line"; readonly pid: number; readonly stream: "stdout" | "stderr"; readonly line: string }
  | {
      readonly kind: "exited";
      readonly pid: number;
      readonly code: number | null;
      readonly signal: string | null;
    };

/** The handle that travels with `listening` or `bound`. */
export type PracticeHandle = Server | DatagramSocket;
