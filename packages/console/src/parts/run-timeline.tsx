import { formatMs, niceStep } from "@dyetrace/picture";
import type { RunOutline } from "@dyetrace/wire";

/** Streams drawn; a run may have thousands. */
const MOST_ROWS = 12;

/**
 * What a run does, on one time axis: a trough for each stream, with dye in it where the source has sent; above it who is
 * in the group.
 * @param nowMs how far it is; null where it has not begun
 */
export function RunTimeline(props: {
  readonly outline: RunOutline;
  readonly lastsMs: number;
  readonly nowMs: number | null;
}) {
  const { outline, lastsMs, nowMs } = props;
  const at = (ms: number): string => `${(Math.min(Math.max(ms, 0), lastsMs) / lastsMs) * 100}%`;
  const span = (fromMs: number, toMs: number): { left: string; width: string } => ({
    left: at(fromMs),
    width: `${(Math.max(0, Math.min(toMs, lastsMs) - Math.max(0, fromMs)) / lastsMs) * 100}%`,
  });
  const shown = outline.streams.slice(0, MOST_ROWS);
  const step = niceStep(lastsMs, 8);
  const ticks = Array.from({ length: Math.floor(lastsMs / step) + 1 }, (_, index) => index * step);
  return (
    <figure class="timeline" aria-label={sayTimeline(props)}>
      {shown.map((stream) => (
        <div class="timeline-row" key={stream.streamId}>
          <span class="water">{stream.name}</span>
          <div class="timeline-track">
            {staysOf(outline, stream.name).map(({ fromMs, toMs, agents }) => (
              <span
                key={`${fromMs} ${toMs}`}
                class="stay"
                style={span(fromMs, toMs ?? lastsMs)}
                title={`${agents.join(", ")}: in the group from ${formatMs(fromMs)} to ${toMs === null ? "the end" : formatMs(toMs)}`}
              >
                {agents.length === 1 ? agents[0] : `${agents.length} listeners`}
              </span>
            ))}
            <div class="trough">
              {stream.emits.map(({ fromMs, toMs }) => (
                <span key={fromMs} class="planned" style={span(fromMs, toMs)} />
              ))}
              {nowMs !== null &&
                stream.emits
                  .filter(({ fromMs }) => fromMs < nowMs)
                  .map(({ fromMs, toMs }) => (
                    <span key={fromMs} class="poured" style={span(fromMs, Math.min(toMs, nowMs))} />
                  ))}
            </div>
            {nowMs !== null && nowMs >= 0 && <span class="playhead" style={{ left: at(nowMs) }} />}
          </div>
        </div>
      ))}
      {outline.streams.length > MOST_ROWS && (
        <p class="small soft">and {outline.streams.length - MOST_ROWS} more streams</p>
      )}
      <div class="timeline-row timeline-axis" aria-hidden="true">
        <span />
        <div class="timeline-track">
          {ticks.map((ms, index) => (
            <span key={ms} class={index % 2 === 1 ? "between" : undefined} style={{ left: at(ms) }}>
              {formatMs(ms)}
            </span>
          ))}
        </div>
      </div>
    </figure>
  );
}

interface Stay {
  readonly fromMs: number;
  readonly toMs: number | null;
  readonly agents: readonly string[];
}

/** Stays of the same times together. */
function staysOf(outline: RunOutline, stream: string): readonly Stay[] {
  const stays = new Map<string, Stay>();
  for (const join of outline.joins) {
    if (join.stream !== stream) continue;
    const key = `${join.fromMs} ${join.toMs}`;
    stays.set(key, { ...join, agents: [...(stays.get(key)?.agents ?? []), join.agent] });
  }
  return [...stays.values()];
}

const sayTimeline = ({
  outline,
  lastsMs,
  nowMs,
}: {
  outline: RunOutline;
  lastsMs: number;
  nowMs: number | null;
}): string =>
  `Timeline of ${outline.streams.length} ${outline.streams.length === 1 ? "stream" : "streams"} over ${formatMs(lastsMs)}${nowMs === null ? "" : `, now at ${formatMs(Math.max(0, Math.round(nowMs / 1000) * 1000))}`}`;
