import { formatRatio, type ReportBystander, type RunReport } from "@dyetrace/wire";
import { UNDECIDED } from "./compare-loss.ts";
import type { Candidate } from "./comparison.ts";

/** A bystander that sees this much more of a stream than before sees a leak, not the first frames of a start. */
const STEP = 0.01;
const STEP_FRAMES = 10;

/** Frames that reached hosts which had not joined: more of them is worse, whatever let them through. */
export function compareLeaks(before: RunReport, after: RunReport): readonly Candidate[] {
  return after.bystanders.flatMap((now): Candidate[] => {
    const old = before.bystanders.find((one) => one.stream === now.stream && one.agent === now.agent);
    if (old === undefined) return [];
    const base = {
      what: "frames without joining",
      stream: now.stream,
      listener: now.agent,
      places: leakPlaces(after, now),
      before: words(old),
      after: words(now),
      step: "1 % of the stream",
    };
    if (old.frames === null || now.frames === null) {
      return [{ ...base, ...UNDECIDED, because: "this host could not watch in both runs" }];
    }
    const [was, is] = [shareOf(before, old), shareOf(after, now)];
    if (was === null || is === null) return [{ ...base, ...UNDECIDED, because: "how much was sent is not known" }];
    const isMaterial = Math.abs(is - was) >= STEP && Math.abs(now.frames - old.frames) >= STEP_FRAMES;
    const outcome = !isMaterial ? "same" : is > was ? "worse" : "better";
    const because = isMaterial
      ? `it saw ${formatRatio(is)} of what was sent, before ${formatRatio(was)}`
      : "no difference of 1 % of the stream or more";
    return [{ ...base, ...UNDECIDED, isMaterial, outcome, because }];
  });
}

const words = ({ frames }: ReportBystander): string => (frames === null ? "can't watch" : `${frames} frames`);

function shareOf(report: RunReport, { stream, frames }: ReportBystander): number | null {
  const sent = report.streams.find((one) => one.name === stream)?.sent ?? null;
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
