/** What follows from a finding's being of its kind, for whoever judges, compares, draws or writes findings. */
export interface FindingKindFacts {
  readonly effect: FindingEffect;
  readonly glyph: FindingGlyph;
  readonly compared: FindingComparison;
  /** Whether the times that leaves took belong to its evidence. */
  readonly restsOnLeaves: boolean;
  /**
   * Probability that the cause is among the suspects in the plain case, 0 to 1; a case with more doubt, or with the
   * source's own word for it, states another. The localisation bench holds what is stated against the truth.
   */
  readonly confidence: number;
  /** What it is called wherever people read: the kind's own words. */
  readonly label: string;
  /** What it says, in one sentence. */
  readonly meaning: string;
}

/**
 * What it does to the verdict. `fails`: something is wrong, the run fails. `blames-host`: the trouble is a measuring
 * host's own, so the run can't speak for the network. `undecided`: something that had to be known is not. `informs`: told,
 * and breaks nothing by itself.
 */
export type FindingEffect = "fails" | "blames-host" | "undecided" | "informs";

/**
 * How it is drawn: the channel is barred, thins or seeps; `fault`: something is wrong that does none of these by itself;
 * `doubt`: this run can't tell; `fact`: told, and no trouble.
 */
export type FindingGlyph = "stop" | "thin" | "seep" | "fault" | "doubt" | "fact";

/**
 * How two runs are compared by it. `presence`: found only in the later run is worse, only in the earlier one better.
 * `figures`: it says what a figure says that is compared by itself (loss, leave delay), so that chance is counted once.
 * `note`: it speaks of one run's circumstances; told, and neither worse nor better.
 */
export type FindingComparison = "presence" | "figures" | "note";
