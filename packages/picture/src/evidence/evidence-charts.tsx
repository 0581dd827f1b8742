import { formatCount, formatRatio } from "@dyetrace/wire";
import { formatMs, orUnknown, sayShare } from "../format/format-figures.ts";
import type { Evidence } from "./evidence-of.ts";
import { niceStep } from "./nice-step.ts";

/** The charts that a finding has evidence for; each is a list that reads without its picture. */
export function EvidenceCharts(props: {
  readonly evidence: Evidence;
  /** An instant of the run, in ms after its start, on the clock of the wall. */
  readonly clock: (ms: number) => string;
}) {
  const { evidence, clock } = props;
  return (
    <div class="charts">
      {evidence.shares.length > 0 && <ReceivedChart evidence={evidence} />}
      {evidence.losses.length > 0 && <LossChart evidence={evidence} />}
      {evidence.gaps.length > 0 && <GapChart evidence={evidence} clock={clock} />}
      {evidence.uninvited.length > 0 && <UninvitedChart evidence={evidence} clock={clock} />}
      {evidence.leaves.length > 0 && <LeaveChart evidence={evidence} />}
    </div>
  );
}

const isOne = (rows: readonly { readonly stream: string }[]): boolean =>
  new Set(rows.map(({ stream }) => stream)).size === 1;

/** @param props `stream` null: all rows are of one */
const Who = ({ listener, stream }: { readonly listener: string; readonly stream: string | null }) => (
  <span class="who">
    {listener}
    {stream !== null && <span class="water"> {stream}</span>}
  </span>
);

function ReceivedChart({ evidence }: { readonly evidence: Evidence }) {
  const isOneStream = isOne(evidence.shares);
  return (
    <figure class="chart">
      <figcaption>What each listener received, in packets</figcaption>
      <ul>
        {evidence.shares.map(({ listener, stream, received, sent, partial }) => {
          const ratio = received === null || sent === null || sent === 0 ? null : Math.min(1, received / sent);
          return (
            <li key={`${listener} ${stream}`}>
              <Who listener={listener} stream={isOneStream ? null : stream} />
              <span class={`channel-bar${ratio === null ? " unknown" : ratio === 0 ? " dry" : ""}`}>
                {ratio !== null && ratio > 0 && <span style={{ width: `${ratio * 100}%` }} />}
              </span>
              <span class="value">
                {ratio !== null && received === sent && partial === null
                  ? `all ${formatCount(sent ?? 0)}`
                  : sayShare({ received, sent })}
                {partial === null ? "" : ` (${partial})`}
              </span>
            </li>
          );
        })}
      </ul>
      <More count={evidence.more.shares} of="listeners" />
    </figure>
  );
}

function LossChart({ evidence }: { readonly evidence: Evidence }) {
  const most = Math.max(...evidence.losses.map(({ high }) => high));
  const scale = niceStep(most, 1);
  const at = (ratio: number): string => `${Math.min(1, ratio / scale) * 100}%`;
  return (
    <figure class="chart">
      <figcaption>
        Loss of each segment, with its 95 % interval; the right edge is {formatRatio(Math.min(1, scale))}
      </figcaption>
      <ul>
        {evidence.losses.map(({ id, lossRatio, low, high, isSuspect }) => (
          <li key={id}>
            <span class="who">{isSuspect ? <b>{id}</b> : id}</span>
            <span class="interval">
              <span class="whisker" style={{ left: at(low), width: `calc(${at(high)} - ${at(low)})` }} />
              <span class="dot" style={{ left: at(lossRatio) }} />
            </span>
            <span class="value">
              {formatRatio(lossRatio)} ({formatRatio(low)} to {formatRatio(high)})
            </span>
          </li>
        ))}
      </ul>
      <More count={evidence.more.losses} of="segments" />
    </figure>
  );
}

/** When packets were missing. Of what is not marked nothing is claimed where the report does not list every gap. */
function GapChart({ evidence, clock }: TimedProps) {
  const isOneStream = isOne(evidence.gaps);
  const isCut = evidence.gaps.some(({ untimed }) => untimed === null || untimed > 0);
  return (
    <figure class="chart">
      <figcaption>
        When packets were missing, over {formatMs(evidence.lastsMs)}
        {isCut && "; hatched: the report does not list every gap, and there may be more there"}
      </figcaption>
      <ul>
        {evidence.gaps.map((one) => (
          <li key={`${one.listener} ${one.stream}`}>
            <Who listener={one.listener} stream={isOneStream ? null : one.stream} />
            <span class={`channel-bar gaps${one.untimed === 0 ? "" : " unknown"}`}>
              {holesOf(one.missing).map(({ from, pieces, share }) => (
                <span
                  key={from}
                  class="hole"
                  style={{
                    left: `${(from / one.missing.length) * 100}%`,
                    width: `max(1.5px, ${(pieces / one.missing.length) * 100}%)`,
                    height: `max(3px, ${share * 100}%)`,
                  }}
                />
              ))}
            </span>
            <span class="value">{sayGaps(one)}</span>
          </li>
        ))}
        <TimeAxis lastsMs={evidence.lastsMs} clock={clock} />
      </ul>
      <More count={evidence.more.gaps} of="listeners" />
    </figure>
  );
}

interface Hole {
  readonly from: number;
  readonly pieces: number;
  readonly share: number;
}

/** Neighbouring pieces of about the same share as one. */
function holesOf(missing: readonly number[]): readonly Hole[] {
  const holes: Hole[] = [];
  for (const [from, exact] of missing.entries()) {
    if (exact === 0) continue;
    const share = Math.ceil(exact * 20) / 20;
    const before = holes.at(-1);
    if (before !== undefined && before.from + before.pieces === from && before.share === share) {
      holes[holes.length - 1] = { ...before, pieces: before.pieces + 1 };
    } else holes.push({ from, pieces: 1, share });
  }
  return holes;
}

function sayGaps({ lost, periods, longestMs, untimed }: Evidence["gaps"][number]): string {
  const gaps = periods === null ? [] : [periods === 1 ? "1 gap" : `${formatCount(periods)} gaps`];
  const longest = longestMs === null ? [] : [`longest ${formatMs(longestMs)}`];
  const when =
    untimed === null || untimed === 0
      ? []
      : [untimed === lost ? "times not listed" : `times of ${formatCount(untimed)} packets not listed`];
  return [`${orUnknown(lost, formatCount)} packets`, ...gaps, ...longest, ...when].join(", ");
}

interface TimedProps {
  readonly evidence: Evidence;
  readonly clock: (ms: number) => string;
}

/** The clock of the wall below a chart. */
function TimeAxis({ lastsMs, clock }: { readonly lastsMs: number; readonly clock: (ms: number) => string }) {
  const step = Math.max(1000, niceStep(lastsMs, 3));
  const ticks = Array.from({ length: Math.floor(lastsMs / step) + 1 }, (_, index) => index * step);
  return (
    <li class="time-axis" aria-hidden="true">
      <span />
      <span>
        {ticks.map((ms) => (
          <span key={ms} style={{ left: `${(ms / lastsMs) * 100}%` }}>
            {clock(ms)}
          </span>
        ))}
      </span>
    </li>
  );
}

const More = ({ count, of }: { readonly count: number; readonly of: string }) =>
  count === 0 ? null : (
    <p class="small soft">
      and {count} more {count === 1 ? of.replace(/s$/, "") : of}
    </p>
  );

function UninvitedChart({ evidence, clock }: TimedProps) {
  const at = (ms: number): string => `${(Math.max(0, ms) / evidence.lastsMs) * 100}%`;
  return (
    <figure class="chart">
      <figcaption>Frames at hosts that had not joined, over {formatMs(evidence.lastsMs)}</figcaption>
      <ul>
        {evidence.uninvited.map(({ agent, stream, frames, firstMs, lastMs }) => (
          <li key={`${agent} ${stream}`}>
            <span class="who">{agent}</span>
            <span class="channel-bar">
              <span class="seep" style={{ left: at(firstMs), width: `max(4px, ${at(lastMs - firstMs)})` }} />
            </span>
            <span class="value">{frames === 1 ? "1 frame" : `${formatCount(frames)} frames`}</span>
          </li>
        ))}
        <TimeAxis lastsMs={evidence.lastsMs} clock={clock} />
      </ul>
      <More count={evidence.more.uninvited} of="hosts" />
    </figure>
  );
}

function LeaveChart({ evidence }: { readonly evidence: Evidence }) {
  const most = Math.max(1, ...evidence.leaves.flatMap(({ valuesMs }) => valuesMs));
  const scaleMs = niceStep(most, 4) * Math.ceil(most / niceStep(most, 4));
  return (
    <figure class="chart">
      <figcaption>How long each leave took; the right edge is {formatMs(scaleMs)}</figcaption>
      <ul>
        {evidence.leaves.map(({ listener, stream, valuesMs, withoutEffect }) => (
          <li key={`${listener} ${stream}`}>
            <span class="who">{listener}</span>
            <span class="interval">
              {valuesMs.map((valueMs, index) => (
                <span key={index} class="dot" style={{ left: `${(valueMs / scaleMs) * 100}%` }} />
              ))}
            </span>
            <span class="value">{sayLeaves(valuesMs, withoutEffect)}</span>
          </li>
        ))}
      </ul>
    </figure>
  );
}

function sayLeaves(valuesMs: readonly number[], withoutEffect: number): string {
  const longest = valuesMs.length === 0 ? [] : [`longest ${formatMs(Math.max(...valuesMs))}`];
  return [...longest, ...(withoutEffect === 0 ? [] : [`${withoutEffect} without effect`])].join(", ");
}
