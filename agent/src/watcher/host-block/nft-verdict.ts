import { fieldsOf, type Holds, type NamedSets, nftMatch } from "./nft-match.ts";
import type { PacketFacts } from "./packet-facts.ts";

/** Where nftables drops a packet. */
export interface NftDrop {
  readonly family: string;
  readonly table: string;
  readonly chain: string;
  /** Number of the rule; null when it is the chain's policy that drops what no rule accepted. */
  readonly handle: number | null;
  /** False when a rule on the way has a condition that we cannot judge, so that the packet may also pass. */
  readonly isCertain: boolean;
}

type Fields = Readonly<Record<string, unknown>>;
interface Chain {
  readonly family: string;
  readonly table: string;
  readonly name: string;
  readonly hook: string | null;
  readonly priority: number;
  readonly policy: string;
  readonly rules: readonly Fields[];
}

/** Hooks that a packet meets, in order (nft(8), "ADDRESS FAMILIES"); egress and ingress belong to the netdev family. */
const HOOKS = { in: ["ingress", "prerouting", "input"], out: ["output", "postrouting", "egress"] } as const;

/**
 * Sends a packet through the chains of a ruleset, in thought.
 * @param listing what `nft -j list ruleset` prints, parsed
 * @param isForDevice whether a netdev chain stands at the packet's interface; null when it is not known
 * @returns the first drop on its way; null when it passes or nothing can be said
 */
export function findNftDrop(
  listing: unknown,
  packet: PacketFacts,
  isForDevice: (table: string, chain: string) => boolean | null,
): NftDrop | null {
  const { chains, sets } = readRuleset(listing);
  let maybe: NftDrop | null = null;
  for (const hook of HOOKS[packet.direction]) {
    for (const chain of baseChains(chains, hook, packet)) {
      const isHere = chain.family === "netdev" ? isForDevice(chain.table, chain.name) : true;
      if (isHere === false) continue;
      const walk = new ChainWalk(chains, sets.get(`${chain.family} ${chain.table}`) ?? new Map(), packet);
      const drop = walk.through(chain, isHere === true);
      if (drop?.isCertain === true) return drop;
      maybe ??= drop;
    }
  }
  return maybe;
}

function baseChains(chains: readonly Chain[], hook: string, packet: PacketFacts): readonly Chain[] {
  const families = new Set(["inet", "netdev", packet.family === 4 ? "ip" : "ip6"]);
  return chains
    .filter((chain) => chain.hook === hook && families.has(chain.family))
    .toSorted((a, b) => a.priority - b.priority);
}

type Outcome = "accept" | "return" | "end";

/** One packet's way through one base chain and those that it jumps to. */
class ChainWalk {
  readonly #chains: readonly Chain[];
  readonly #sets: NamedSets;
  readonly #packet: PacketFacts;
  /** First drop met; what follows a certain one is never reached. */
  #drop: NftDrop | null = null;
  /** False once a rule that we could not judge may have let the packet go. */
  #isCertain = true;
  #depth = 0;

  constructor(chains: readonly Chain[], sets: NamedSets, packet: PacketFacts) {
    this.#chains = chains;
    this.#sets = sets;
    this.#packet = packet;
  }

  through(chain: Chain, isCertain: boolean): NftDrop | null {
    this.#isCertain = isCertain;
    const outcome = this.#follow(chain);
    if (outcome !== "accept" && chain.policy === "drop") this.#note(chain, null);
    return this.#drop;
  }

  #follow(chain: Chain): Outcome {
    if (this.#depth > 16) return "end"; // the kernel allows no deeper jumps (NFT_JUMP_STACK_SIZE)
    this.#depth++;
    let outcome: Outcome = "end";
    for (const rule of chain.rules) {
      const result = this.#rule(chain, rule);
      if (result !== "end") {
        outcome = result;
        break;
      }
    }
    this.#depth--;
    return outcome;
  }

  /** @returns `end` when the next rule follows */
  #rule(chain: Chain, rule: Fields): Outcome {
    let holds: Holds = true;
    for (const statement of Array.isArray(rule["expr"]) ? rule["expr"].map(fieldsOf) : []) {
      if ("match" in statement) {
        const matched = nftMatch(fieldsOf(statement["match"]), this.#packet, this.#sets);
        if (matched === false) return "end";
        if (matched === null) holds = null;
      } else if ("accept" in statement || "return" in statement) {
        if (holds === true) return "accept" in statement ? "accept" : "return";
        this.#isCertain = false;
        return "end";
      } else if ("drop" in statement || "reject" in statement) {
        return this.#dropBy(chain, rule, holds);
      } else if ("jump" in statement || "goto" in statement) {
        const isGoto = "goto" in statement;
        return this.#jump(chain, fieldsOf(statement[isGoto ? "goto" : "jump"])["target"], isGoto, holds);
      } else if (!HARMLESS.some((name) => name in statement)) {
        holds = null; // a limit, a verdict map, an extension of iptables: may match, may decide
        if (DECIDES.some((name) => name in statement)) this.#isCertain = false;
      }
    }
    return "end";
  }

  #dropBy(chain: Chain, rule: Fields, holds: Holds): Outcome {
    const wasCertain = this.#isCertain;
    if (holds === null) this.#isCertain = false;
    this.#note(chain, typeof rule["handle"] === "number" ? rule["handle"] : null);
    this.#isCertain = wasCertain;
    return holds === true ? "accept" : "end"; // dropped here: nothing behind it is met
  }

  #jump(from: Chain, target: unknown, isGoto: boolean, holds: Holds): Outcome {
    const chain = this.#chains.find(
      (one) => one.family === from.family && one.table === from.table && one.name === target,
    );
    if (holds === null) this.#isCertain = false;
    if (chain === undefined) return "end";
    const outcome = this.#follow(chain);
    if (outcome === "accept") return holds === true ? "accept" : "end";
    return isGoto && holds === true ? "return" : "end";
  }

  #note(chain: Chain, handle: number | null): void {
    const { family, table, name } = chain;
    const drop = { family, table, chain: name, handle, isCertain: this.#isCertain };
    if (this.#drop === null || (drop.isCertain && !this.#drop.isCertain)) this.#drop = drop;
  }
}

/** Statements that neither match nor decide. */
const HARMLESS = ["counter", "log", "mangle", "notrack", "set", "last", "flow", "secmark", "dup"];
/** Statements that may decide in a way that we do not follow. */
const DECIDES = ["vmap", "queue", "xt", "tproxy", "redirect", "dnat", "snat", "masquerade", "fwd", "synproxy"];

function readRuleset(listing: unknown): {
  chains: readonly Chain[];
  sets: Map<string, Map<string, readonly unknown[]>>;
} {
  const list = fieldsOf(listing)["nftables"];
  const objects = Array.isArray(list) ? list.map(fieldsOf) : [];
  const rules = objects.filter((one) => "rule" in one).map((one) => fieldsOf(one["rule"]));
  const sets = new Map<string, Map<string, readonly unknown[]>>();
  for (const set of objects.filter((one) => "set" in one).map((one) => fieldsOf(one["set"]))) {
    const key = `${text(set["family"])} ${text(set["table"])}`;
    const table = sets.get(key) ?? new Map<string, readonly unknown[]>();
    sets.set(key, table.set(text(set["name"]), Array.isArray(set["elem"]) ? set["elem"] : []));
  }
  const chains = objects
    .filter((one) => "chain" in one)
    .map((one) => fieldsOf(one["chain"]))
    .map((chain) => ({
      family: text(chain["family"]),
      table: text(chain["table"]),
      name: text(chain["name"]),
      hook: typeof chain["hook"] === "string" ? chain["hook"] : null,
      priority: typeof chain["prio"] === "number" ? chain["prio"] : 0,
      policy: text(chain["policy"]),
      rules: rules.filter(
        (rule) =>
          rule["family"] === chain["family"] && rule["table"] === chain["table"] && rule["chain"] === chain["name"],
      ),
    }));
  return { chains, sets };
}

const text = (value: unknown): string => (typeof value === "string" ? value : "");
