import { type LineChange, lineChanges } from "@dyetrace/site";
import { useMemo, useState } from "preact/hooks";

/** Lines that did not change are shown this far around those that did. */
const AROUND = 2;
const MOST_LINES = 80;

/** What a plan that is to be saved changes in the one that is there, line by line. */
export function PlanChanges({ before, after }: { readonly before: string; readonly after: string }) {
  const [isWhole, setWhole] = useState(false);
  const rows = useMemo(() => rowsOf(before, after), [before, after]);
  const added = rows.filter(({ sign }) => sign === "+").length;
  const removed = rows.filter(({ sign }) => sign === "−").length;
  const shown = isWhole ? rows : rows.slice(0, MOST_LINES);
  if (added + removed === 0) return <p class="small soft">Nothing differs from the plan that the controller has.</p>;
  return (
    <div class="plan-changes">
      <p class="small">
        {added} {added === 1 ? "line" : "lines"} added, {removed} removed.
      </p>
      {/* biome-ignore lint/a11y/noNoninteractiveTabindex: wider than a phone, and moved with the arrow keys */}
      <section class="plan-diff" aria-label="Changed lines" tabIndex={0}>
        <ol>
          {shown.map(({ sign, text, key }) => (
            <li key={key} class={sign === "+" ? "is-added" : sign === "−" ? "is-removed" : undefined}>
              <span class="hidden-name">{sign === "+" ? "added: " : sign === "−" ? "removed: " : ""}</span>
              <span aria-hidden="true">{sign}</span>
              <code>{text === "" ? " " : text}</code>
            </li>
          ))}
        </ol>
      </section>
      {rows.length > shown.length && (
        <button type="button" class="as-link" onClick={() => setWhole(true)}>
          and {rows.length - shown.length} more lines
        </button>
      )}
    </div>
  );
}

interface Row {
  readonly sign: "+" | "−" | " " | "…";
  readonly text: string;
  readonly key: string;
}

function rowsOf(before: string, after: string): readonly Row[] {
  const [a, b] = [before.split(/\r?\n/), after.split(/\r?\n/)];
  const changes = lineChanges(a, b);
  const near = new Set(
    changes.flatMap(({ kind }, index) =>
      kind === "kept" ? [] : Array.from({ length: 2 * AROUND + 1 }, (_, step) => index - AROUND + step),
    ),
  );
  const rows: Row[] = [];
  for (const [index, change] of changes.entries()) {
    if (near.has(index)) rows.push(rowOf(change, a, b, index));
    else if (rows.length > 0 && rows.at(-1)?.sign !== "…") rows.push({ sign: "…", text: "", key: `gap ${index}` });
  }
  return rows.at(-1)?.sign === "…" ? rows.slice(0, -1) : rows;
}

function rowOf(change: LineChange, before: readonly string[], after: readonly string[], index: number): Row {
  const key = String(index);
  switch (change.kind) {
    case "kept":
      return { sign: " ", text: after[change.after] ?? "", key };
    case "added":
      return { sign: "+", text: after[change.after] ?? "", key };
    case "removed":
      return { sign: "−", text: before[change.before] ?? "", key };
  }
}
