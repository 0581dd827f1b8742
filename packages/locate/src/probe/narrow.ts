import type { StreamTrial } from "../cover/stream-trials.ts";
import { streamTrials } from "../cover/stream-trials.ts";
import type { FindingCauses, SuspectElement } from "../finding/finding.ts";
import type { RunObservations } from "../run/run-observations.ts";
import { streamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { type Silenced, silencing } from "./foretell.ts";
import type { SilentStream } from "./probe.ts";
import { type UnheardQueries, unheardQueries } from "./unheard-queries.ts";

/** What was known before the probe. */
export interface ProbedFinding {
  readonly suspects: readonly string[];
  readonly causes: FindingCauses;
  /** What had failed in the first run; the probe repeats the first of it. */
  readonly silent: readonly SilentStream[];
}

/** A pair of the probe's stream and listener. */
export interface ProbedPair {
  readonly stream: string;
  readonly host: string;
}

export type NarrowedOutcome = "narrowed" | "not-parted" | "gone" | "undecided";

export interface Narrowed {
  readonly outcome: NarrowedOutcome;
  /** In the first run's order; all of them unless the outcome is `narrowed`. Never one that the first run did not name. */
  readonly suspects: readonly string[];
  readonly elements: readonly SuspectElement[];
  /** Pairs of the probe that got nothing, and got all, of those that say something about the suspects. */
  readonly silent: readonly ProbedPair[];
  readonly good: readonly ProbedPair[];
  /** False where some of what was silent in the probe has another cause besides. */
  readonly isOneFault: boolean;
  /** Hosts that heard no query in the probe while others did, where that rules suspects out. */
  readonly deaf: readonly string[];
}

interface Shown extends ProbedPair {
  readonly isGood: boolean;
  readonly isRepeated: boolean;
  readonly silenced: readonly Silenced[];
}

/**
 * Which suspects both runs together leave, if the fault is the same in both. Whatever would have silenced a pair that
 * came through is not to blame; and one fault has to explain all that is silent, where any one can.
 */
export function narrow(site: SiteIndex, first: ProbedFinding, probe: RunObservations): Narrowed {
  const { elements } = first.causes;
  const shown = shownBy(site, first, probe);
  const repeated = shown.filter(({ isRepeated }) => isRepeated);
  const asBefore = { suspects: first.suspects, elements, isOneFault: true, deaf: [], ...pairsOf(shown) };
  if (repeated.length === 0) return { ...asBefore, outcome: "undecided" };
  if (repeated.every(({ isGood }) => isGood)) return { ...asBefore, outcome: "gone" };
  const bad = shown.filter(({ isGood }) => !isGood);
  const isCleared = (at: number): boolean => shown.some((one) => one.isGood && one.silenced[at] === "yes");
  const numbers = [...elements.keys()].filter((at) => !isCleared(at));
  const explaining = (pairs: readonly Shown[]): number[] =>
    numbers.filter((at) => pairs.every(({ silenced }) => silenced[at] !== "no"));
  const ofAll = explaining(bad);
  const queries = unheardQueries(site, probe, first.silent[0]?.group.includes(":") === true);
  const ofQueries = queries === null ? [] : ofAll.filter(alsoOf(site, elements, queries));
  const ofPackets = ofAll.length > 0 ? ofAll : explaining(bad.filter(({ isRepeated }) => isRepeated));
  const left = ofQueries.length > 0 ? ofQueries : ofPackets;
  const known = new Set(elements.map(({ place }) => place));
  const names = new Set(left.map((at) => elements[at]?.place));
  if (left.length === 0) return { ...asBefore, outcome: "undecided" };
  // Of a suspect that no element stands for, nobody can say what the probe would show.
  const suspects = first.suspects.filter((name) => names.has(name) || !known.has(name));
  return {
    ...asBefore,
    outcome: suspects.length < first.suspects.length ? "narrowed" : "not-parted",
    suspects,
    elements: left.flatMap((at) => elements[at] ?? []),
    isOneFault: ofAll.length > 0,
    deaf: ofQueries.length === 0 ? [] : (queries?.deaf ?? []).flatMap((node) => site.nodes[node]?.name ?? []),
  };
}

/**
 * Whether an element would keep the queries from just those who heard none. That they came to all says nothing for a
 * suspect: what lets the queries' group through may still stop others.
 */
function alsoOf(
  site: SiteIndex,
  elements: readonly SuspectElement[],
  { trial, hearing, deaf }: UnheardQueries,
): (at: number) => boolean {
  const silencedAt = silencing(site, elements);
  const [ofHearing, ofDeaf] = [hearing, deaf].map((leaves) => leaves.map((leaf) => silencedAt(trial, leaf)));
  return (at) =>
    ofDeaf?.every((silenced) => silenced[at] === "yes") === true &&
    ofHearing?.every((silenced) => silenced[at] === "no") === true;
}

/** What each pair of the probe showed, and would show for each element. Pairs that began good and ended silent say nothing. */
function shownBy(site: SiteIndex, { causes, silent }: ProbedFinding, probe: RunObservations): Shown[] {
  const silencedAt = silencing(site, causes.elements);
  const isRepeat = ({ facts: { stream } }: StreamTrial, host: string): boolean =>
    silent.some((one) => one.group === stream.group && one.source === stream.source && one.hosts.includes(host));
  return streamFacts(site, probe)
    .flatMap(streamTrials)
    .filter(({ payloadBytes }) => payloadBytes >= causes.payloadBytes)
    .flatMap((trial) =>
      trial.outcomes.flatMap(({ leaf, good, bad }): Shown[] => {
        const host = site.nodes[leaf]?.name ?? "";
        if ((good === null) === (bad === null)) return [];
        return [
          {
            stream: trial.facts.stream.stream,
            host,
            isGood: good !== null,
            isRepeated: isRepeat(trial, host),
            silenced: silencedAt(trial, leaf),
          },
        ];
      }),
    );
}

function pairsOf(shown: readonly Shown[]): Pick<Narrowed, "silent" | "good"> {
  const pairs = (isGood: boolean): ProbedPair[] =>
    shown.filter((one) => one.isGood === isGood).map(({ stream, host }) => ({ stream, host }));
  return { silent: pairs(false), good: pairs(true) };
}
