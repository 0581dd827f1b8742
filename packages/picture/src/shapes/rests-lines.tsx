import type { DeltaLayout, Polyline } from "../layout/delta-place.ts";
import { lengthOf, pathOf, spotAt } from "../layout/geometry.ts";
import type { RestsOn } from "./site-map-props.ts";

/** A line in each channel of a drawn plan: whole where it was seen, dashed where it was concluded, dotted with a question mark where it is open. */
export function RestsLines(props: { readonly layout: DeltaLayout; readonly rests: ReadonlyMap<string, RestsOn> }) {
  return (
    <g class="rests-lines">
      {[...props.layout.places.values()].map(({ name, inlet }) => {
        const by = props.rests.get(name);
        return by === undefined || inlet.length === 0 ? null : <RestsLine key={name} by={by} line={inlet} />;
      })}
    </g>
  );
}

function RestsLine({ by, line }: { readonly by: RestsOn; readonly line: Polyline }) {
  const middle = spotAt(line, lengthOf(line) / 2);
  return (
    <>
      <path class={`rests ${by}`} data-rests={by} d={pathOf(line)} />
      {by === "open" && (
        <text class="rests-mark" x={middle.x} y={middle.y + 5} text-anchor="middle">
          ?
        </text>
      )}
    </>
  );
}

const KEY_LINE = [
  [2, 12],
  [50, 12],
] as const;

const WORDS: readonly (readonly [RestsOn | null, string])[] = [
  ["seen", "seen: somebody announced it"],
  ["concluded", "concluded: it follows from tables"],
  ["open", "open: nobody saw it"],
  [null, "written or changed by hand"],
];

/** How to read those lines. */
export function RestsKey() {
  return (
    <section class="key" aria-labelledby="rests-key">
      <h2 id="rests-key" class="small">
        What a link rests on
      </h2>
      <ul>
        {WORDS.map(([by, words]) => (
          <li key={words}>
            <svg viewBox="0 0 52 24" aria-hidden="true">
              <path class="bank" d={pathOf(KEY_LINE)} stroke-width={12} />
              <path class="bed" d={pathOf(KEY_LINE)} stroke-width={9} />
              {by !== null && <RestsLine by={by} line={KEY_LINE} />}
            </svg>
            {words}
          </li>
        ))}
      </ul>
    </section>
  );
}
