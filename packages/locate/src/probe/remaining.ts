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
 * @param looks by the element's place in the list: what the probe would show
 */
export function partingOf(
  suspects: readonly string[],
  elements: readonly SuspectElement[],
  looks: readonly string[],
): Parting {
  const elementsOf = new Map(suspects.map((name) => [name, [] as number[]]));
  for (const [at, { place }] of elements.entries()) elementsOf.get(place)?.push(at);
  const opaque = [...elementsOf.values()].filter((own) => own.length === 0).length;
  const byLook = new Map<string, { readonly names: Set<string>; elements: number }>();
  for (const [at, look] of looks.entries()) {
    const same = byLook.get(look) ?? { names: new Set<string>(), elements: 0 };
    byLook.set(look, same);
    same.names.add(elements[at]?.place ?? "");
    same.elements++;
  }
  let expected = 0;
  let expectedElements = 0;
  let most = opaque;
  for (const own of elementsOf.values()) {
    // Nobody knows what a suspect without an element would show, so nothing is ruled out if it is to blame.
    if (own.length === 0) expected += suspects.length;
    for (const at of own) {
      const left = byLook.get(looks[at] ?? "");
      expected += ((left?.names.size ?? 0) + opaque) / own.length;
      expectedElements += (left?.elements ?? 0) / own.length;
    }
  }
  for (const { names } of byLook.values()) most = Math.max(most, names.size + opaque);
  return { expected: expected / suspects.length, most, expectedElements: expectedElements / suspects.length };
}
