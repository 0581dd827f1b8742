import type { Random } from "../seeded-random.ts";

/** One of ours that takes what others made: how to make something for it, and what is done with it. */
export interface Parser {
  readonly name: string;
  /** How often it is tried among all: what takes long is tried less. */
  readonly share: number;
  readonly make: (random: Random) => unknown;
  /** Takes it or throws a `Fault`; all else is a mistake of ours. */
  readonly take: (made: unknown) => void;
}
