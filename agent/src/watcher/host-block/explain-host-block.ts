import { execFile } from "node:child_process";
import { promisify } from "node:util";
import { formatCount } from "@dyetrace/wire";
import { NftText } from "./nft-text.ts";
import { findNftDrop } from "./nft-verdict.ts";
import type { PacketFacts } from "./packet-facts.ts";
import { reversePathDrops, reversePathMode } from "./reverse-path-filter.ts";

const run = promisify(execFile);
const NFT_TIMEOUT_MS = 3000;
const NFT_OUTPUT_BYTES = 32 << 20;

/** Counters to read before a run, so that what happens in it can be told from what came before. */
export interface HostBlockBaseline {
  readonly reversePathDrops: number | null;
}

export const readHostBlockBaseline = async (): Promise<HostBlockBaseline> => ({
  reversePathDrops: await reversePathDrops(),
});

/**
 * Why packets that reached the network card did not reach the socket (or why a report never left): the reverse-path
 * filter or a rule of nftables. Rules of the older iptables tables and of eBPF programs are not seen.
 * @returns one sentence that names the setting or the rule; null when none was found or this process may not look
 */
export async function explainHostBlock(packet: PacketFacts, before: HostBlockBaseline): Promise<string | null> {
  return (await explainByReversePath(packet, before)) ?? (await explainByNft(packet));
}

async function explainByReversePath(packet: PacketFacts, before: HostBlockBaseline): Promise<string | null> {
  if (packet.family !== 4 || packet.direction !== "in" || packet.protocol !== "udp") return null;
  const [mode, drops] = await Promise.all([reversePathMode(packet.interfaceName), reversePathDrops()]);
  if (mode === null || mode === 0 || drops === null || before.reversePathDrops === null) return null;
  const dropped = drops - before.reversePathDrops;
  if (dropped <= 0) return null;
  const source = packet.source === null ? "the source" : `the source ${packet.source}`;
  const setting = mode === 1 ? "strict, 1" : "loose, 2";
  const route = mode === 1 ? `through ${packet.interfaceName}` : "at all";
  return (
    `The reverse-path filter (rp_filter on ${packet.interfaceName}: ${setting}) dropped ${formatCount(dropped)} packets on this ` +
    `host meanwhile; it drops what comes from an address that the host has no route back to ${route}, here ${source}`
  );
}

async function explainByNft(packet: PacketFacts): Promise<string | null> {
  const [json, plain] = await Promise.all([nft("-j", "-a"), nft("-a")]);
  if (json === null || plain === null) return null;
  const text = new NftText(plain);
  const drop = findNftDrop(JSON.parse(json), packet, (table, chain) =>
    text.isForDevice(table, chain, packet.interfaceName),
  );
  if (drop === null) return null;
  const what = packet.protocol === "udp" ? `UDP to ${packet.destination}` : `${packet.protocol.toUpperCase()} messages`;
  const port = packet.destinationPort === null ? "" : ` port ${packet.destinationPort}`;
  const does = drop.isCertain ? "drops" : "may drop";
  return `This host's firewall ${does} ${what}${port}: nftables table ${drop.family} ${drop.table}, chain ${drop.chain}: ${text.ruleAt(drop)}`;
}

/** @returns the ruleset, or null without nft or without the right to read it */
async function nft(...options: readonly string[]): Promise<string | null> {
  try {
    const { stdout } = await run("nft", [...options, "list", "ruleset"], {
      timeout: NFT_TIMEOUT_MS,
      maxBuffer: NFT_OUTPUT_BYTES,
    });
    return stdout;
  } catch {
    return null;
  }
}
