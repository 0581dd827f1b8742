interface Flowing {
  /** Set on somebody else's stream: what the scenario says of it, or true in an outline and a report. */
  readonly production?: object | boolean | undefined;
}

/** Whether streams of others are followed, in a scenario, a run, its outline or its report: nothing is sent then. */
export const followsOthers = ({ streams }: { readonly streams: readonly Flowing[] }): boolean =>
  streams.some(({ production }) => production !== undefined && production !== false);
