import type { SiteGraph } from "@dyetrace/site";
import type { FindingKind } from "@dyetrace/wire";
import type { RunObservations } from "../../../packages/locate/src/run/run-observations.ts";
import type { Random } from "../seeded-random.ts";

/** One run in a world that is not as declared: what the localiser is given, and what is true. */
export interface ClassCase {
  /** The site as the plan has it. */
  readonly plan: SiteGraph;
  /** The site as it is; the same object where the plan is right. */
  readonly world: SiteGraph;
  readonly run: RunObservations;
  readonly truth: ClassTruth;
}

export interface ClassTruth {
  /** What is at fault: segment ids and names of nodes or hosts of the world. Empty: nothing on the way is. */
  readonly places: readonly string[];
  /** Nodes and hosts that sit elsewhere than the plan has them. */
  readonly misplaced: readonly string[];
  /** Kinds that are true of this run whatever places they name. */
  readonly trueKinds: readonly FindingKind[];
  /** Kinds that are right at the place at fault; null: any. */
  readonly kinds: readonly FindingKind[] | null;
  /** What no finding may say here, in title or evidence; null: nothing is looked for. */
  readonly untrueWords: RegExp | null;
}

/** A way in which the world differs from what is declared. */
export interface SimulatedClass {
  readonly name: string;
  readonly about: string;
  /** Drawn equally often, and counted each by itself. */
  readonly variants: readonly string[];
  /** @returns null when the site that was drawn has no room for it; draw again */
  readonly draw: (variant: string, random: Random) => ClassCase | null;
}

export const NOTHING_WRONG: ClassTruth = {
  places: [],
  misplaced: [],
  trueKinds: [],
  kinds: null,
  untrueWords: null,
};

/** A truth that consists of places alone. */
export const faultAt = (...places: readonly string[]): ClassTruth => ({ ...NOTHING_WRONG, places });
