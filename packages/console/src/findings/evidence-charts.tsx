import { formatRatio } from "@dyetrace/wire";
import { formatCount, formatMs, orUnknown } from "../parts/format.ts";
import { niceStep } from "../parts/nice-step.ts";
import type { Evidence } from "./evidence-of.ts";

/** The charts that a finding has evidence for; each is a list that reads without its picture. */
export function EvidenceCharts({ evidence }: { readonly evidence: Evidence }) {
  return (
    <div class="charts">
      {evidence.shares.length > 0 && <ReceivedChart evidence={evidence} />}
      {evidence.losses.length > 0 && <LossChart evidence={evidence} />}
      {evidence.gaps.length > 0 && <GapChart evidence={evidence} />}
      {evidence.uninvited.length > 0 && <UninvitedChart evidence={evidence} />}
      {evidence.leaves.length > 0 && <LeaveChart evidence={evidence} />}
    </div>
  );
}

function ReceivedChart({ evidence }: { readonly evidence: Evidence }) {
  const isOneStream = new Set(evidence.shares.map(({ stream }) => stream)).size === 1;
  return (
    <figure class="chart">
      <figcaption>What each listener received</figcaption>
      <ul>
        {evidence.shares.map(({ listener, stream, received, sent, partial }) => {
          const ratio = received === null || sent === null || sent === 0 ? null : Math.min(1, received / sent);
          return (
            <li key={`${listener} ${stream}`}>
              <span class="who">
                {listener}
                {!isOneStream && <span class="water"> {stream}</span>}
              </span>
              <span class={`channel-bar${ratio === null ? " unknown" : ratio === 0 ? " dry" : ""}`}>
                {ratio !== null && ratio > 0 && <span style={{ width: `${ratio * 100}%` }} />}
              </span>
              <span class="value">
                {ratio === null
                  ? `${orUnknown(received, formatCount)} of ${orUnknown(sent, formatCount)}`
                  : received === sent && partial === null
                    ? `all ${formatCount(sent ?? 0)}`
                    : `${formatCount(received ?? 0)} of ${formatCount(sent ?? 0)}`}
                {partial === null ? "" : ` (${partial})`}
              </span>
            </li>
          );
        })}
      </ul>
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
    </figure>
  );
}

function GapChart({ evidence }: { readonly evidence: Evidence }) {
  const at = (ms: number): string => `${(Math.max(0, ms) / evidence.lastsMs) * 100}%`;
  return (
    <figure class="chart">
      <figcaption>When packets were missing, over {formatMs(evidence.lastsMs)}</figcaption>
      <ul>
        {evidence.gaps.map(({ listener, stream, gaps }) => (
          <li key={`${listener} ${stream}`}>
            <span class="who">{listener}</span>
            <span class="channel-bar">
              <span class="behind" />
              {gaps.map(({ startMs, durationMs }) => (
                <span key={startMs} class="hole" style={{ left: at(startMs), width: `max(2px, ${at(durationMs)})` }} />
              ))}
            </span>
            <span class="value">
              {gaps.length === 1 ? "1 gap" : `${formatCount(gaps.length)} gaps`}, longest{" "}
              {formatMs(Math.max(...gaps.map(({ durationMs }) => durationMs)))}
            </span>
          </li>
        ))}
      </ul>
    </figure>
  );
}

function UninvitedChart({ evidence }: { readonly evidence: Evidence }) {
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
            <span class="value">{formatCount(frames)} frames</span>
          </li>
        ))}
      </ul>
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
