import { type IpAddress, networkOf, parseIpAddress } from "@dyetrace/wire";
import type { InventoryAsker } from "@dyetrace/wire/inventory/inventory-schema";
import { isNobodys } from "@dyetrace/wire/inventory/inventory-words";
import type { SightAsk } from "@dyetrace/wire/inventory/sight-schema";
import type { AgentLook } from "./agent-look.ts";

interface Prefix {
  readonly address: IpAddress;
  readonly bits: number;
}

/** Which addresses are agents', and which lie on an agent's own link. */
export class HostsOfSight {
  readonly #agents = new Map<string, string>();
  readonly #prefixes = new Map<string, readonly Prefix[]>();

  constructor(looks: readonly AgentLook[]) {
    for (const { agent, sight } of looks) {
      const prefixes = (sight?.addresses ?? []).flatMap((text) => prefixOf(text) ?? []);
      this.#prefixes.set(agent, prefixes);
      for (const text of sight?.addresses ?? []) this.#agents.set(text.split("/")[0] ?? text, agent);
    }
  }

  /** @returns null where the address is no agent's */
  agentOf(address: string): string | null {
    return this.#agents.get(address) ?? null;
  }

  /** @returns whether an address lies on the link that this agent is on; null where its own addresses are unknown */
  isOnLinkOf(agent: string, address: string): boolean | null {
    const parsed = parseIpAddress(address);
    if (parsed === null) return null;
    // Neither goes through a router (RFC 4291, sections 2.5.2 and 2.5.6; RFC 1122, section 3.2.1.3; RFC 3927, section 2.7).
    if (isLinkLocal(parsed) || isNobodys(address)) return true;
    const prefixes = (this.#prefixes.get(agent) ?? []).filter((one) => one.address.family === parsed.family);
    if (prefixes.length === 0) return null;
    return prefixes.some(({ address: own, bits }) => isSame(networkOf(own, bits), networkOf(parsed, bits)));
  }

  /** Hosts that want it, each once with the latest that any agent heard; who has left since is none of them. */
  askers(asks: readonly { readonly ask: SightAsk; readonly agent: string }[]): InventoryAsker[] {
    const latest = new Map<string, SightAsk>();
    for (const { ask } of asks) {
      const key = `${ask.host} ${ask.hardware}`;
      const known = latest.get(key);
      if (known === undefined || ask.agoNs < known.agoNs) latest.set(key, ask);
    }
    return [...latest.values()]
      .filter(({ isWanted }) => isWanted)
      .map(({ host, hardware, agoNs }) => ({ address: host, agent: this.agentOf(host), hardware, agoMs: agoNs / 1e6 }))
      .sort((a, b) => a.address.localeCompare(b.address));
  }
}

function prefixOf(text: string): Prefix | null {
  const [host = "", bits] = text.split("/");
  const address = parseIpAddress(host);
  const most = address?.family === 6 ? 128 : 32;
  const number = Number(bits);
  return address === null || !Number.isInteger(number) || number < 0 || number > most
    ? null
    : { address, bits: number };
}

/** 169.254.0.0/16 (RFC 3927), fe80::/10 (RFC 4291 section 2.5.6). */
const isLinkLocal = ({ family, bytes: [first = 0, second = 0] }: IpAddress): boolean =>
  family === 4 ? first === 169 && second === 254 : first === 0xfe && (second & 0xc0) === 0x80;

const isSame = (a: Uint8Array, b: Uint8Array): boolean => a.every((byte, at) => byte === b[at]);
