import { type DelayLine, type DelayTable, delayTables } from "@dyetrace/measure";
import { formatMs, niceStep, orUnknown } from "@dyetrace/picture";
import type { RunReport } from "@dyetrace/wire";
import { formatCount } from "@dyetrace/wire";

/** Listeners of one table; the report has them all. */
const MOST_ROWS = 24;

/** How long joins and leaves took: every value as a dot, with the limit, and the figures beside it. */
export function Delays({ report }: { readonly report: RunReport }) {
  const tables = delayTables(report);
  if (tables.length === 0) return null;
  return (
    <section class="promises delays">
      <h2>How long joins and leaves took</h2>
      {tables.map((table) => (
        <DelayRows key={table.what} table={table} />
      ))}
      <p class="small soft">
        Join: from the report on the wire to the first packet. Leave: from the leave on the wire to the last frame at
        the network card (RFC 2432, section 3.4; RFC 3918, section 6). The limit is for 95 of 100.
      </p>
    </section>
  );
}

function DelayRows({ table: { what, limit, limitMs, isMet, lines } }: { readonly table: DelayTable }) {
  const most = Math.max(1, limitMs ?? 0, ...lines.map(({ maxMs, atLeastMs }) => Math.max(maxMs ?? 0, atLeastMs ?? 0)));
  const step = niceStep(most, 4);
  const scaleMs = step * Math.ceil(most / step);
  const at = (ms: number): string => `${(ms / scaleMs) * 100}%`;
  const kept = isMet === null ? "not judged" : isMet ? "kept" : "broken";
  return (
    <>
      <h3>
        {what === "join" ? "Joins" : "Leaves"}
        {limit !== null && (
          <span class="small soft">
            {" "}
            at most {limit}: {kept}
          </span>
        )}
      </h3>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the page is scrolled with the keyboard too */}
      <section class="scroll" aria-label={`How long ${what}s took`} tabIndex={0}>
        <table>
          <thead>
            <tr>
              <th scope="col">stream</th>
              <th scope="col">listener</th>
              <th scope="col">each one, from 0 to {formatMs(scaleMs)}</th>
              <th scope="col">median</th>
              <th scope="col">95 %</th>
              <th scope="col">longest</th>
              <th scope="col">number</th>
            </tr>
          </thead>
          <tbody>
            {lines.slice(0, MOST_ROWS).map((line) => (
              <tr key={`${line.stream} ${line.listener}`}>
                <th scope="row" class="water">
                  {line.stream}
                </th>
                <td>{line.listener ?? <b>all together</b>}</td>
                <td>
                  <span class="interval" aria-hidden="true">
                    {limitMs !== null && <span class="limit" style={{ left: at(limitMs) }} />}
                    {line.valuesMs.map((ms, index) => (
                      <span key={index} class="dot" style={{ left: at(ms) }} />
                    ))}
                    {line.atLeastMs !== null && <span class="whisker" style={{ left: 0, width: at(line.atLeastMs) }} />}
                  </span>
                </td>
                <td>{orUnknown(line.medianMs, formatMs)}</td>
                <td>{orUnknown(line.p95Ms, formatMs)}</td>
                <td>{sayLongest(line)}</td>
                <td>{formatCount(line.trials)}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </section>
      {lines.length > MOST_ROWS && (
        <p class="small soft">{lines.length - MOST_ROWS} more listeners are in the report.</p>
      )}
    </>
  );
}

function sayLongest({ maxMs, atLeastMs, withoutEffect }: DelayLine): string {
  if (atLeastMs === null) return orUnknown(maxMs, formatMs);
  return `at least ${formatMs(atLeastMs)} (${withoutEffect} without effect)`;
}
