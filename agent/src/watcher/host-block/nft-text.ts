import type { NftDrop } from "./nft-verdict.ts";

/** What `nft -a list ruleset` prints: rules in the operator's own words, found by where they stand. */
export class NftText {
  readonly #rules = new Map<string, string>();
  readonly #devices = new Map<string, string>();

  constructor(listing: string) {
    let table = "";
    let chain = "";
    for (const line of listing.split("\n").map((one) => one.trim())) {
      const heading = /^(table|chain) (.+) \{/.exec(line);
      if (heading?.[1] === "table") table = heading[2] ?? "";
      else if (heading?.[1] === "chain") chain = heading[2] ?? "";
      const rule = /^(.*) # handle ([0-9]+)$/.exec(line);
      if (rule !== null && heading === null) this.#rules.set(`${table} ${chain} ${rule[2]}`, rule[1] ?? "");
      if (/^type .* device/.test(line)) this.#devices.set(`${table} ${chain}`, line);
    }
  }

  /** The rule's own text, or what the chain's policy does. */
  ruleAt(drop: NftDrop): string {
    if (drop.handle === null) return "policy drop";
    return this.#rules.get(`${drop.family} ${drop.table} ${drop.chain} ${drop.handle}`) ?? `rule ${drop.handle}`;
  }

  /** Whether a chain of the netdev family stands at this interface; null when the listing does not say. */
  isForDevice(table: string, chain: string, interfaceName: string): boolean | null {
    const line = this.#devices.get(`netdev ${table} ${chain}`);
    return line === undefined ? null : line.split(/[\s,;{}"]+/).includes(interfaceName);
  }
}
