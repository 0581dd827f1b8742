import { mergeFollowed } from "@dyetrace/measure";
import type { Followed, ReportMedia } from "@dyetrace/wire";
import type { CompiledStream } from "../plan/compiled-run.ts";
import type { Flow } from "./flow.ts";
import type { ToldPart, ToldStay } from "./told-stays.ts";

const SECOND_NS = 1e9;
/** A report of more than this is several, put together: which of its seconds were whole is not known any more. */
const ONE_SECOND_NS = 1.5e9;

type Ts = NonNullable<Followed["digest"]["ts"]>;

/** For each listener of one flow, what its viewers would have noticed. */
export function reportMedia({ name, followed }: CompiledStream, flow: Flow, stays: readonly ToldStay[]): ReportMedia[] {
  const byAgent = new Map<string, ToldPart[]>();
  for (const { agent, parts } of stays) byAgent.set(agent, [...(byAgent.get(agent) ?? []), ...parts]);
  return [...byAgent].map(([listener, parts]) => {
    const all = parts.map((part) => part.followed).reduce(mergeFollowed);
    const rtp = followed?.ssrc == null ? null : (all.rtp.find(({ ssrc }) => ssrc === followed.ssrc) ?? null);
    const ts = followed?.ssrc == null ? all.digest.ts : (rtp?.ts ?? null);
    const whole = wholeSeconds(parts, flow);
    return {
      stream: name,
      listener,
      payloadType: rtp?.payloadType ?? null,
      clockHz: rtp?.clockHz ?? null,
      strayPackets: rtp?.rejected ?? null,
      seconds: whole?.seconds ?? null,
      errorFreeSeconds: whole?.errorFree ?? null,
      transportStream: ts === null ? null : transportStream(ts),
    };
  });
}

/** Null where nothing tells which packets were missing, or when. */
function wholeSeconds(
  parts: readonly ToldPart[],
  flow: Flow,
): { readonly seconds: number; readonly errorFree: number } | null {
  if (flow.emission === null || flow.facts.identifiedBy === null || flow.facts.comparedOneIn > 1) return null;
  const seconds = new Set<number>();
  const broken = new Set<number>();
  for (const part of parts) {
    const { fromNs, toNs } = part.report;
    const [membership] = part.entry.memberships;
    if (toNs - fromNs > ONE_SECOND_NS) return null;
    const isWhole =
      membership !== undefined &&
      membership.joinRequestedNs + SECOND_NS <= fromNs &&
      (membership.leaveRequestedNs ?? toNs) >= toNs &&
      toNs - fromNs > SECOND_NS / 2;
    const receipt = flow.receiptOf(part);
    const second = Math.floor(fromNs / SECOND_NS);
    if (isWhole) {
      seconds.add(second);
      if (receipt.firstCopies === 0) broken.add(second);
    }
    for (const { lost } of receipt.spans) {
      for (const [, , startNs, durationNs] of lost) {
        if (startNs === null || durationNs === null) return null;
        for (let at = Math.floor(startNs / SECOND_NS); at <= Math.floor((startNs + durationNs) / SECOND_NS); at++)
          broken.add(at);
      }
    }
  }
  return { seconds: seconds.size, errorFree: [...seconds].filter((second) => !broken.has(second)).length };
}

const ms = (ns: number | null): number | null => (ns === null ? null : ns / 1e6);

const transportStream = (ts: Ts): NonNullable<ReportMedia["transportStream"]> => ({
  packets: ts.packets,
  nullPackets: ts.nullPackets,
  programs: ts.programs,
  syncLosses: ts.syncLosses,
  misalignedDatagrams: ts.misalignedDatagrams,
  continuityErrors: ts.continuityErrors,
  missingAtLeast: ts.missingAtLeast,
  announcedDiscontinuities: ts.announcedDiscontinuities,
  transportErrors: ts.transportErrors,
  permittedRepeats: ts.permittedRepeats,
  repeatedDatagrams: ts.repeatedDatagrams,
  pats: ts.pats,
  patLongestMs: ms(ts.patLongestNs),
  patOverdue: ts.patOverdue,
  pmts: ts.pmts,
  pmtLongestMs: ms(ts.pmtLongestNs),
  pmtOverdue: ts.pmtOverdue,
  pcrs: ts.pcrs,
  pcrLongestMs: ms(ts.pcrLongestNs),
  pcrOverdue: ts.pcrOverdue,
  pcrJumps: ts.pcrJumps,
  pcrJitterMs: ms(ts.pcrJitterNs),
});
