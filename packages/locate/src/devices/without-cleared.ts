import type { Finding } from "../finding/finding.ts";

/**
 * What devices have cleared is no longer shown as failing; whether it is sound is another question.
 * @param before the findings before devices were asked @param after the same findings, in the same order
 */
export function withoutCleared<State extends { readonly id: string; readonly status: string }>(
  states: readonly State[],
  before: readonly Finding[],
  after: readonly Finding[],
): readonly (State | (State & { readonly status: "unknown" }))[] {
  const left = new Set(after.flatMap(({ suspects }) => suspects));
  const cleared = new Set(before.flatMap(({ suspects }) => suspects).filter((suspect) => !left.has(suspect)));
  if (cleared.size === 0) return states;
  return states.map((state) =>
    cleared.has(state.id) && (state.status === "stops" || state.status === "loses")
      ? { ...state, status: "unknown" as const }
      : state,
  );
}
