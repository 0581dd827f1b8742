/** Steps that people count in, in ms. */
const STEPS_MS = [
  1, 2, 5, 10, 20, 50, 100, 200, 500, 1e3, 2e3, 5e3, 10e3, 15e3, 30e3, 60e3, 120e3, 300e3, 600e3, 900e3, 1800e3, 3600e3,
  7200e3, 14_400e3, 28_800e3,
];
const LONGEST_MS = 86_400e3;

/** Times to write beneath an axis, evenly apart, as many as find room. */
export function timeTicks(
  fromMs: number,
  toMs: number,
  most: number,
): { readonly ms: readonly number[]; readonly stepMs: number } {
  const stepMs = STEPS_MS.find((step) => (toMs - fromMs) / step <= most) ?? LONGEST_MS;
  const first = Math.ceil(fromMs / stepMs);
  const count = Math.max(0, Math.floor(toMs / stepMs) - first + 1);
  return { ms: Array.from({ length: count }, (_, index) => (first + index) * stepMs), stepMs };
}

/** `-2 s`, `12.5 s`, `3 min`, `1 h 30 min`: a time of the run, as finely as the step asks. */
export function tickWords(ms: number, stepMs: number): string {
  if (stepMs >= 60e3 && ms !== 0) {
    const minutes = Math.round(Math.abs(ms) / 60e3);
    const [hours, rest] = [Math.floor(minutes / 60), minutes % 60];
    const text = hours === 0 ? `${minutes} min` : rest === 0 ? `${hours} h` : `${hours} h ${rest} min`;
    return ms < 0 ? `-${text}` : text;
  }
  const digits = stepMs >= 1000 ? 0 : Math.ceil(3 - Math.log10(stepMs));
  return `${(ms / 1000).toFixed(Math.min(3, digits))} s`;
}
