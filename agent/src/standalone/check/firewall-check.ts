import { spawnSync } from "node:child_process";
import { DEFAULT_UDP_PORT } from "@dyetrace/wire";
import { type CheckResult, good, know, spoils, unknown } from "./check-result.ts";
import { readText } from "./read-setting.ts";

const NAME = "firewall";

interface InputChain {
  readonly family: string;
  readonly table: string;
  readonly name: string;
  readonly isDroppingByDefault: boolean;
  /** Rules of the chain, as `nft` tells them in JSON. */
  readonly rules: readonly string[];
}

/** What packet filters on the way in would do to test traffic and to queries, as far as they can be read. */
export function checkFirewall(): CheckResult {
  const listed = spawnSync("nft", ["-j", "list", "ruleset"], { encoding: "utf8", timeout: 5000 });
  const older = (readText("/proc/net/ip_tables_names") ?? "").trim();
  if (listed.error !== undefined || listed.status !== 0) {
    return unknown(NAME, "its rules cannot be read: run the check as root, with nft installed");
  }
  const chains = readInputChains(listed.stdout);
  if (chains === null) return unknown(NAME, "nft answered in a form that we do not know");
  if (chains.length === 0) {
    return older === ""
      ? good(NAME, "no rule looks at what comes in")
      : know(NAME, `older tables are loaded (${older.split("\n").join(", ")})`, "iptables-legacy -S INPUT");
  }
  const closed = chains.filter((chain) => chain.isDroppingByDefault || chain.rules.some(isDroppingAll));
  const dropsIgmp = chains.find((chain) =>
    chain.rules.some((rule) => rule.includes('"drop"') && /igmp|"right":2[,}]/.test(rule)),
  );
  if (dropsIgmp !== undefined) {
    return spoils(
      NAME,
      `${nameOf(dropsIgmp)} drops IGMP: queries go unheard and streams stop after minutes`,
      allow(dropsIgmp, "ip protocol igmp"),
    );
  }
  const shut = closed.find((chain) => !lets(chain, "igmp") || !lets(chain, String(DEFAULT_UDP_PORT)));
  if (shut !== undefined) {
    const wanted = [
      lets(shut, "igmp") ? null : "ip protocol igmp",
      lets(shut, String(DEFAULT_UDP_PORT)) ? null : `udp dport ${DEFAULT_UDP_PORT}`,
    ];
    const commands = wanted.flatMap((match) => (match === null ? [] : [allow(shut, match)])).join(" && ");
    return spoils(NAME, `${nameOf(shut)} drops what no rule lets in, and lets in ${describeWanting(wanted)}`, commands);
  }
  return know(
    NAME,
    `${chains.map(nameOf).join(", ")} look at what comes in; none seems to drop the test`,
    "nft list ruleset",
  );
}

const describeWanting = (wanted: readonly (string | null)[]): string =>
  `no ${wanted.filter((match) => match !== null).join(" and no ")}`;
const nameOf = (chain: InputChain): string => `chain ${chain.family} ${chain.table} ${chain.name}`;
const allow = (chain: InputChain, match: string): string =>
  `nft insert rule ${chain.family} ${chain.table} ${chain.name} ${match} accept`;
const lets = (chain: InputChain, what: string): boolean =>
  chain.rules.some(
    (rule) => rule.includes('"accept"') && new RegExp(what === "igmp" ? 'igmp|"right":2[,}]' : what).test(rule),
  );

/** A rule that is nothing but a verdict. */
const isDroppingAll = (rule: string): boolean => /^\[(\{"counter":[^}]*\}\},?)?\{"(drop|reject)"/.test(rule);

/** @returns null if the text is no ruleset as nft prints it (libnftables-json(5)) */
function readInputChains(text: string): InputChain[] | null {
  interface Entry {
    readonly chain?: { family: string; table: string; name: string; hook?: string; policy?: string };
    readonly rule?: { family: string; table: string; chain: string; expr?: unknown };
  }
  let entries: readonly Entry[];
  try {
    const parsed: unknown = JSON.parse(text);
    if (typeof parsed !== "object" || parsed === null || !("nftables" in parsed)) return null;
    entries = parsed.nftables as readonly Entry[];
  } catch {
    return null;
  }
  return entries.flatMap(({ chain }) => {
    if (chain === undefined || (chain.hook !== "input" && chain.hook !== "ingress" && chain.hook !== "prerouting"))
      return [];
    const { family, table, name, policy } = chain;
    const rules = entries
      .filter(({ rule }) => rule?.family === family && rule.table === table && rule.chain === name)
      .map(({ rule }) => JSON.stringify(rule?.expr ?? []));
    return [{ family, table, name, isDroppingByDefault: policy === "drop", rules }];
  });
}
