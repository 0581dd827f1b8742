import { formatCount, formatRatio, type ReportBystander, type RunReport } from "@dyetrace/wire";
import { UNDECIDED } from "./compare-loss.ts";
import type { Candidate } from "./comparison.ts";

/** A bystander that sees this much more of a stream than before sees a leak, not the first frames of a start. */
const STEP = 0.01;
const STEP_FRAMES = 10;

/**
 * Frames that leaked to hosts which had not joined: more of them is worse, whatever let them through. What a run's own
 * findings do not call a leak was by design, such as the flood before the first join (RFC 4541, section 2.1.2): its length
 * is when the join came, which no two runs have alike.
 */
export function compareLeaks(before: RunReport, after: RunReport): readonly Candidate[] {
  return after.bystanders.flatMap((now): Candidate[] => {
    const old = before.bystanders.find((one) => one.stream === now.stream && one.agent === now.agent);
    if (old === undefined) return [];
    const base = {
      what: "frames without joining",
      stream: now.stream,
      listener: now.agent,
      places: leakPlaces(after, now),
      before: words(before, old),
      after: words(after, now),
      step: "1 % of the stream",
    };
    if (old.frames === null || now.frames === null) {
      const isBarred = old.frames === null;
      return [{ ...base, ...UNDECIDED, isBarred, because: "this host could not watch in both runs" }];
    }
    const [was, is] = [shareOf(before, old), shareOf(after, now)];
    if (was === null || is === null) {
      return [{ ...base, ...UNDECIDED, isBarred: was === null, because: "how much was sent is not known" }];
    }
    const difference = Math.abs((leakedFrames(after, now) ?? 0) - (leakedFrames(before, old) ?? 0));
    const isMaterial = Math.abs(is - was) >= STEP && difference >= STEP_FRAMES;
    const outcome = !isMaterial ? "same" : is > was ? "worse" : "better";
    const because = isMaterial
      ? `${formatRatio(is)} of what was sent leaked to it, before ${formatRatio(was)}`
      : "no difference of 1 % of the stream or more";
    return [{ ...base, ...UNDECIDED, isMaterial, outcome, because }];
  });
}

function words(report: RunReport, bystander: ReportBystander): string {
  const { frames } = bystander;
  if (frames === null) return "can't watch";
  if (frames === 0) return "none";
  return leakedFrames(report, bystander) === 0
    ? `no leak (${formatCount(frames)} frames)`
    : `${formatCount(frames)} frames`;
}

function leakedFrames({ findings }: RunReport, { stream, frames }: ReportBystander): number | null {
  const isLeak = findings.some(({ kind, streams }) => kind === "leaks" && streams.includes(stream));
  return frames === null ? null : isLeak ? frames : 0;
}

function shareOf(report: RunReport, bystander: ReportBystander): number | null {
  const sent = report.streams.find((one) => one.name === bystander.stream)?.sent ?? null;
  const frames = leakedFrames(report, bystander);
  return sent === null || sent === 0 || frames === null ? null : Math.min(1, frames / sent);
}

/** Where the later run itself says that this stream leaks. */
const leakPlaces = ({ findings }: RunReport, { stream }: ReportBystander): readonly string[] => [
  ...new Set(
    findings
      .filter(({ kind, streams }) => kind === "leaks" && streams.includes(stream))
      .flatMap(({ suspects }) => suspects),
  ),
];
