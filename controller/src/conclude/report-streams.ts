import type { ReportStream } from "@dyetrace/wire";
import type { RunAccount } from "../account/run-account.ts";
import { type FollowedFacts, rateInAllBps } from "../plan/compiled-run.ts";

/** What was to be sent, and what the sources say of it. */
export const reportStreams = ({ run, sources }: RunAccount): ReportStream[] =>
  run.streams.map((stream) => {
    const { name, source, group, port, payloadBytes, production, followed } = stream;
    const isOwn = production === undefined;
    const emission = sources.get(name)?.emission;
    const first = emission?.intervals[0];
    const last = emission?.intervals.at(-1);
    const onNs = first === undefined || last === undefined ? 0 : last.toNs - first.fromNs;
    const sentBytes = emission?.sentBytes ?? null;
    return {
      name,
      source,
      group,
      port,
      rateBps: rateInAllBps(stream),
      payloadBytes,
      ttl: isOwn ? stream.ttl : null,
      dscp: isOwn ? stream.dscp : null,
      ...(isOwn ? {} : followedFields(followed)),
      ...(followed?.allBps == null ? {} : { numberedBps: stream.rateBps }),
      // Of a stream of others its own numbers tell, or nothing does.
      sent: isOwn || followed?.identifiedBy === "sequence" ? (emission?.sentPackets ?? null) : null,
      sentRateBps: sentBytes === null || onNs <= 0 ? null : (sentBytes * 8e9) / onNs,
      sendErrors: isOwn ? (emission?.sendErrors ?? null) : null,
      pacingP50Ms: emission?.pacing == null ? null : emission.pacing.p50Ns / 1e6,
      pacingP99Ms: emission?.pacing == null ? null : emission.pacing.p99Ns / 1e6,
      pacingP999Ms: emission?.pacing == null ? null : emission.pacing.p999Ns / 1e6,
      pacingMaxMs: emission?.pacing == null ? null : emission.pacing.maxNs / 1e6,
    };
  });

const followedFields = (followed: FollowedFacts | undefined): Partial<ReportStream> => ({
  production: true,
  format: followed?.format ?? null,
  identifiedBy: followed?.identifiedBy ?? null,
  ssrc: followed?.ssrc ?? null,
  senders: [...(followed?.senders ?? [])],
  comparedOneIn: followed?.comparedOneIn ?? 1,
});
