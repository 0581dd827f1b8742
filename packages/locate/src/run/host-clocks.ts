import type { RunObservations } from "./run-observations.ts";

/**
 * How far each host's instants may lie from the common clock, either way, in ms.
 * @returns by the host's name: 0 where nothing was said of its clock, infinite where it was never compared
 */
export function clockErrors({ clocks }: Pick<RunObservations, "clocks">): (host: string) => number {
  const errors = new Map(clocks?.map(({ host, uncertaintyMs }) => [host, uncertaintyMs ?? Number.POSITIVE_INFINITY]));
  return (host) => errors.get(host) ?? 0;
}
