import { MEDIA_METHOD, mediaRows, type RunReport } from "@dyetrace/wire";

/** Listeners that are shown; the report has them all. */
const MOST_ROWS = 16;

/** What viewers of followed streams would have noticed, the worst first. */
export function MediaFigures({ report }: { readonly report: RunReport }) {
  const rows = mediaRows(report);
  if (rows.length === 0) return null;
  return (
    <section class="promises deliveries">
      <h2>What viewers would have noticed</h2>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: a table wider than the page is scrolled with the keyboard too */}
      <section class="scroll" aria-label="What viewers would have noticed" tabIndex={0}>
        <table>
          <thead>
            <tr>
              <th scope="col">stream</th>
              <th scope="col">listener</th>
              <th scope="col">seconds without an error</th>
              <th scope="col">troubles</th>
              <th scope="col">program clock</th>
              <th scope="col">tables apart (program / map)</th>
            </tr>
          </thead>
          <tbody>
            {rows.slice(0, MOST_ROWS).map(({ stream, listener, errorFree, troubles, clock, tables }) => (
              <tr key={`${stream} ${listener}`}>
                <th scope="row" class="water">
                  {stream}
                </th>
                <td>{listener}</td>
                <td>{errorFree ?? "unknown"}</td>
                <td>{troubles}</td>
                <td>{clock ?? "none seen"}</td>
                <td>{tables ?? "none seen"}</td>
              </tr>
            ))}
          </tbody>
        </table>
      </section>
      {MEDIA_METHOD.map((sentence) => (
        <p key={sentence} class="small soft">
          {sentence}
        </p>
      ))}
      {rows.length > MOST_ROWS && <p class="small soft">{rows.length - MOST_ROWS} more listeners are in the report.</p>}
    </section>
  );
}
