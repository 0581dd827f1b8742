import type { RunReport } from "@dyetrace/wire";
import { formatCount } from "@dyetrace/wire";
import { decodeHeaderRecords, type HeaderRecord } from "@dyetrace/wire/capture/header-records";
import type { KeptHeaders } from "@dyetrace/wire/capture/kept-headers-schema";
import { type PcapngPacket, writePcapng } from "@dyetrace/wire/capture/write-pcapng";
import { VERSION } from "../about/version.ts";

type KeptAgent = KeptHeaders["agents"][number];

/** A capture file with what the agents of a run kept, and what it holds in words. */
export interface CaptureFile {
  readonly bytes: Uint8Array;
  readonly packets: number;
}

/**
 * All agents' headers as one pcapng, an interface for each agent, packets in the order of time. Times are by the controller's
 * clock, each agent's right within what stands at its interface. @returns null where no agent handed anything over
 */
export function captureFile(kept: KeptHeaders, report: RunReport): CaptureFile | null {
  const agents = kept.agents.filter(({ headers }) => headers !== null);
  if (agents.length === 0) return null;
  const startNs = BigInt(Date.parse(kept.startedAt)) * 1_000_000n;
  const packets = agents
    .flatMap(({ headers }, interfaceIndex) =>
      [headers?.membership ?? "", headers?.data ?? ""].flatMap((text) =>
        once(decodeHeaderRecords(Buffer.from(text, "base64")) ?? []).map((record) =>
          packetOf(record, interfaceIndex, startNs),
        ),
      ),
    )
    .sort((a, b) => (a.timeNs < b.timeNs ? -1 : a.timeNs > b.timeNs ? 1 : a.interfaceIndex - b.interfaceIndex));
  const bytes = writePcapng({
    comment: sectionComment(kept, report),
    application: `dyetrace ${VERSION}`,
    interfaces: agents.map((one) => ({
      name: `${one.agent}:${one.interfaceName}`,
      description: `agent ${one.agent}, interface ${one.interfaceName}`,
      snapBytes: 0,
      comment: interfaceComment(one),
    })),
    packets,
  });
  return { bytes, packets: packets.length };
}

/** What was handed over twice, around a loss and at the run's end, is one record: no two frames have the same nanosecond and bytes. */
function once(records: readonly HeaderRecord[]): HeaderRecord[] {
  const seen = new Map(
    records.map((record) => [`${record.atNs} ${Buffer.from(record.bytes).toString("latin1")}`, record] as const),
  );
  return [...seen.values()];
}

function packetOf(record: HeaderRecord, interfaceIndex: number, startNs: bigint): PcapngPacket {
  const { atNs, vlanId, originalBytes, isOutbound } = record;
  const bytes = vlanId === null ? record.bytes : tagged(record.bytes, vlanId);
  const timeNs = startNs + BigInt(Math.round(atNs));
  return {
    interfaceIndex,
    timeNs,
    bytes,
    originalBytes: originalBytes + bytes.length - record.bytes.length,
    isOutbound,
  };
}

/** With the tag that the kernel took off: IEEE 802.1Q, clause 9.6. */
function tagged(bytes: Uint8Array, vlanId: number): Uint8Array {
  const whole = new Uint8Array(bytes.length + 4);
  whole.set(bytes.subarray(0, 12));
  whole.set([0x81, 0x00, vlanId >> 8, vlanId & 0xff], 12);
  whole.set(bytes.subarray(12), 16);
  return whole;
}

const sectionComment = (
  { run, agents }: KeptHeaders,
  { site, scenario, startedAt, endedAt, findings }: RunReport,
): string =>
  [
    `Headers that agents kept of run ${run}, ${scenario} at ${site}, ${startedAt} to ${endedAt}.`,
    "Of data: headers of Ethernet, IP and UDP, and twelve octets of what has the form of RTP, or the header of a test packet; no other payload. IGMP, MLD and PIM whole.",
    "Times are by the controller's clock; at each interface stands how well its host's clock was known.",
    ...findings.map(({ title }, i) => `Finding ${i + 1}: ${title}.`),
    ...agents.flatMap(({ agent, why }) => (why === null ? [] : [`Nothing of ${agent}: ${why}.`])),
  ].join("\n");

function interfaceComment({ uncertaintyNs, headers }: KeptAgent): string {
  const clock =
    uncertaintyNs === null
      ? "How far its clock is off the controller's is unknown."
      : `Its times are right within ${(uncertaintyNs / 1e6).toFixed(3)} ms of the controller's.`;
  const { overwritten = 0, leftOut = 0, dropped = 0 } = headers ?? {};
  return [
    clock,
    ...(overwritten > 0 ? [`${formatCount(overwritten)} earlier frames made room for later ones.`] : []),
    ...(leftOut > 0 ? [`${formatCount(leftOut)} frames found no room in what was handed over.`] : []),
    ...(dropped > 0 ? [`${formatCount(dropped)} frames were lost by the host before they were kept.`] : []),
  ].join(" ");
}
