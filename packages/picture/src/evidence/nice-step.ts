/** The step of 1, 2 or 5 times a power of ten that gives at most so many ticks. @param span above 0 */
export function niceStep(span: number, most: number): number {
  const rough = span / most;
  const power = 10 ** Math.floor(Math.log10(rough));
  return ([1, 2, 5, 10].find((factor) => factor * power >= rough) ?? 10) * power;
}
