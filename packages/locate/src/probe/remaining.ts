import type { SuspectElement } from "../finding/finding.ts";

/** How well a probe parts suspects: lower is better. */
export interface Parting {
  /** Suspects left on average, every suspect being as likely as the next. */
  readonly expected: number;
  readonly most: number;
  /** Elements left on average: what is wrong with a place, where the place itself is known. */
  readonly expectedElements: number;
}

/**
 * What is left when all that look the same stay together.
 * @param suspects names; those without an element can never be parted from anything
 * @param looks by the element's place in the list: what the probe would show, a mark for each host: `+` something, `-`
 *   nothing, `?` either
 */
export function partingOf(
  suspects: readonly string[],
  elements: readonly SuspectElement[],
  looks: readonly string[],
): Parting {
  const elementsOf = new Map(suspects.map((name) => [name, [] as number[]]));
  for (const [at, { place }] of elements.entries()) elementsOf.get(place)?.push(at);
  const opaque = [...elementsOf.values()].filter((own) => own.length === 0).length;
  const byLook = new Map<string, number[]>();
  for (const [at, look] of looks.entries()) {
    const same = byLook.get(look);
    if (same === undefined) byLook.set(look, [at]);
    else same.push(at);
  }
  // By look: what stays if one that looks so is at fault.
  const left = new Map(
    [...byLook.keys()].map((look) => {
      const alike = [...byLook].flatMap(([other, own]) => (mayShowTheSame(look, other) ? own : []));
      const names = new Set(alike.map((at) => elements[at]?.place));
      return [look, { names: names.size + opaque, elements: alike.length }] as const;
    }),
  );
  let expected = 0;
  let expectedElements = 0;
  for (const own of elementsOf.values()) {
    // Nobody knows what a suspect without an element would show, so nothing is ruled out if it is to blame.
    if (own.length === 0) expected += suspects.length;
    for (const at of own) {
      const one = left.get(looks[at] ?? "");
      expected += (one?.names ?? 0) / own.length;
      expectedElements += (one?.elements ?? 0) / own.length;
    }
  }
  const most = [...left.values()].reduce((top, { names }) => Math.max(top, names), opaque);
  return { expected: expected / suspects.length, most, expectedElements: expectedElements / suspects.length };
}

/** Marks one by one: `?` may turn out either way. */
function mayShowTheSame(one: string, other: string): boolean {
  if (one === other) return true;
  if (!one.includes("?") && !other.includes("?")) return false;
  for (let at = 0; at < one.length; at++) {
    if (one[at] !== other[at] && one[at] !== "?" && other[at] !== "?") return false;
  }
  return true;
}
