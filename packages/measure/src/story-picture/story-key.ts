import type { StoryMark } from "@dyetrace/wire";
import { markShape } from "./draw-marks.ts";
import type { Shape } from "./picture-shape.ts";

/** What each sign of the picture means: a small picture of 34 by 16, and its words. */
export interface KeyEntry {
  readonly shapes: readonly Shape[];
  readonly words: string;
}

const sign = (kind: StoryMark["kind"], words: string): KeyEntry => ({ shapes: [markShape(kind, 17, 8)], words });

const data = (how: string, words: string): KeyEntry => ({
  shapes: [{ tag: "rect", attributes: { class: `story-data ${how}`, x: 1, y: 5, width: 32, height: 7 } }],
  words,
});

const timer = (kind: string, words: string): KeyEntry => ({
  shapes: [
    {
      tag: "g",
      attributes: { class: `story-timer ${kind}` },
      children: [
        { tag: "path", attributes: { class: "story-run", d: "M1 15V2L33 15Z" } },
        { tag: "path", attributes: { class: "story-edge", d: "M1 2L33 15" } },
      ],
    },
  ],
  words,
});

/** The signs that a story's picture has. */
export function storyKey(has: {
  readonly kinds: ReadonlySet<StoryMark["kind"]>;
  readonly isMeasured: boolean;
  readonly isUninvited: boolean;
}): KeyEntry[] {
  const signs: readonly (readonly [StoryMark["kind"], string])[] = [
    ["query", "asks about all groups"],
    ["group-query", "asks about one group"],
    ["report", "reports a membership"],
    ["join", "joins"],
    ["leave", "leaves"],
    ["hello", "router's hello"],
    ["asks-join", "asked its kernel to join"],
    ["asks-leave", "asked its kernel to leave"],
  ];
  return [
    ...signs.filter(([kind]) => has.kinds.has(kind)).map(([kind, words]) => sign(kind, words)),
    timer("membership", "membership, running down"),
    ...(has.kinds.has("leave") ? [timer("last-member", "last member query time")] : []),
    ...(has.kinds.has("query") ? [timer("other-querier", "a querier is known (other querier present)")] : []),
    ...(has.isMeasured
      ? [
          {
            shapes: [
              {
                tag: "g",
                attributes: { class: "story-measured" },
                children: [
                  { tag: "path", attributes: { class: "story-readings", d: "M2 3h2.8M10 6h2.8M18 9h2.8M26 12h2.8" } },
                ],
              } as const,
            ],
            words: "what the switch's own table said was left",
          },
        ]
      : []),
    data("sent", "data sent"),
    data("received", "data received"),
    ...(has.isUninvited ? [data("seen", "data that came unasked")] : []),
  ];
}
