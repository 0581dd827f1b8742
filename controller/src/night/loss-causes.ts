import { type SharedCause, type SharedTrial, sharedCauses } from "@dyetrace/locate";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import { greatestOf, leastOf } from "@dyetrace/wire";
import { getOrAdd } from "../account/get-or-add.ts";
import { alikeLosses, type LostRuns } from "../compare/alike-losses.ts";
import { readLostNumbers } from "../intake/lost-numbers.ts";
import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import type { LossesBeside } from "./beside.ts";
import { numbersOf, sameMoments, slackOf } from "./moments.ts";
import { isWithin, partSilences, silentMoments } from "./silences.ts";
import { type TimedCause, widest } from "./timed-cause.ts";
import type { Witnesses } from "./witnesses.ts";

/** A place that explains losses of one time, with who was hit by it. */
export interface LossCause {
  readonly suspects: readonly string[];
  readonly confidence: number;
  isOf(episode: Episode): boolean;
}

/** Losses of one time, explained as far as they can be. */
export interface ExplainedLosses {
  /** The same losses, cut where the listeners that got nothing change. */
  readonly episodes: readonly Episode[];
  /** The fewest places that explain them; none where no place fits. */
  readonly causes: readonly LossCause[];
}

/** What one listener lost of one stream in one incident. */
interface ListenerLoss extends LostRuns {
  readonly agent: string;
  readonly episodes: readonly Episode[];
}

/** Listeners of one stream that lost the same. */
interface AlikeLoss {
  readonly stream: CompiledStream;
  readonly losses: readonly ListenerLoss[];
  readonly fromNs: number;
  readonly toNs: number;
  /** Nothing came any more to any of them for a time. */
  readonly isSilence: boolean;
  /** Times in which listeners of the same stream got nothing. */
  readonly silences: readonly Episode[];
  /** Listeners that lose all the time, of which nobody can say whether they lost this as well. */
  readonly unsure: ReadonlySet<string>;
}

/** Asks `locate` where losses of one time come from: for each, who was hit and who surely was not. */
export class LossCauses {
  readonly #run: CompiledRun;
  readonly #graph: SiteGraph;
  readonly #witnesses: Witnesses;
  readonly #beside: LossesBeside;
  readonly #ask: (trials: readonly SharedTrial[]) => SharedCause[];

  constructor(run: CompiledRun, graph: SiteGraph, witnesses: Witnesses, beside: LossesBeside) {
    this.#beside = beside;
    this.#run = run;
    this.#graph = graph;
    this.#witnesses = witnesses;
    this.#ask = sharedCauses(graph);
  }

  /** @param episodes of loss, of about the same time */
  of(episodes: readonly Episode[]): ExplainedLosses {
    const all = alikeLossesIn(this.#run, episodes).map((one) => this.#withSteady(one));
    const told = all.flatMap(({ losses }) => losses.flatMap((loss) => loss.episodes));
    // Of what has no number, such as a stream that fell silent, nobody can say which others lost the same. A silence whose
    // packets are known is told by them.
    const rest = episodes.filter((one) => one.count === 0 && !told.some((other) => isWithin(other, one)));
    const largest = all.toSorted((a, b) => packetsOf(b) - packetsOf(a)).slice(0, MOST_ASKED);
    const causes = sameMoments(largest).flatMap((moment) =>
      this.#askAbout(moment).map((cause): TimedCause => ({ cause, ...spanOf(moment) })),
    );
    return { episodes: [...told, ...rest], causes: this.#together(causes) };
  }

  /** Losses of several streams that began and ended together are explained together. */
  #askAbout(moment: readonly AlikeLoss[]): SharedCause[] {
    const isSilence = moment.some((one) => one.isSilence);
    return this.#ask(moment.map((one) => this.#trialOf(one, isSilence)));
  }

  /** Whoever loses all the time, and lost these numbers too, was hit as the others were. */
  #withSteady(alike: AlikeLoss): AlikeLoss {
    const { stream, losses, fromNs, toNs, isSilence } = alike;
    const numbers = isSilence ? new Set<number>() : numbersOf(losses);
    if (numbers.size === 0) return alike;
    const hit = new Set(losses.map(({ agent }) => agent));
    const shares = [...this.#beside.sharesOf(stream.streamId, fromNs, toNs, numbers)].filter(([one]) => !hit.has(one));
    const isSure = (share: number): boolean => share >= SURE_SHARE && numbers.size >= SURE_NUMBERS;
    const more = shares.flatMap(([agent, share]): ListenerLoss[] => {
      if (!isSure(share)) return [];
      const count = Math.round(share * numbers.size);
      const episode: Episode = { kind: "loss", agent, streamId: stream.streamId, fromNs, toNs, count, detail: "" };
      return [{ agent, episodes: [episode], runs: [] }];
    });
    const unsure = shares.flatMap(([agent, share]) =>
      !isSure(share) && (share >= UNSURE_SHARE || numbers.size < SURE_NUMBERS) ? agent : [],
    );
    return { ...alike, losses: [...losses, ...more], unsure: new Set(unsure) };
  }

  /** Where copies and reordering come from, that befell some listeners of one stream at one time. */
  placesOf(
    stream: CompiledStream,
    hit: readonly string[],
    others: ReadonlySet<string>,
    fromNs: number,
    toNs: number,
  ): SharedCause[] {
    const isSpared = (agent: string): boolean => !hit.includes(agent) && !others.has(agent);
    return this.#ask([
      {
        ...{ stream: stream.name, group: stream.group, source: stream.sourceHost },
        ...{ isSourceSpecific: stream.isSourceSpecific, isSilence: false },
        hit: hit.map((agent) => this.#hostOf(agent)),
        spared: this.#witnesses
          .of(stream, fromNs, toNs, true)
          .filter(isSpared)
          .map((agent) => this.#hostOf(agent)),
      },
    ]);
  }

  #trialOf({ stream, losses, fromNs, toNs, silences, unsure }: AlikeLoss, isSilence: boolean): SharedTrial {
    const hit = new Set(losses.map(({ agent }) => agent));
    // Whoever got nothing at all for a part of that time can't say that the others' way was open.
    const slackNs = slackOf(stream);
    const silent = silences.filter((one) => one.fromNs < toNs - slackNs && one.toNs > fromNs + slackNs);
    const isSpared = (agent: string): boolean =>
      !hit.has(agent) && !unsure.has(agent) && !silent.some((one) => one.agent === agent);
    const hostsOf = (agents: readonly string[]): string[] => agents.map((agent) => this.#hostOf(agent));
    return {
      stream: stream.name,
      group: stream.group,
      source: stream.sourceHost,
      isSourceSpecific: stream.isSourceSpecific,
      hit: hostsOf([...hit]),
      spared: hostsOf(this.#witnesses.of(stream, fromNs, toNs, isSilence).filter(isSpared)),
      isSilence,
    };
  }

  /** Causes with the same suspects are one, and so are those of one time and the same hosts of which one has some suspects more. */
  #together(causes: readonly TimedCause[]): LossCause[] {
    const bySuspects = new Map<string, TimedCause[]>();
    for (const timed of causes.map((one) => widest(one, causes)))
      getOrAdd(bySuspects, timed.cause.suspects.join(" "), () => []).push(timed);
    return [...bySuspects.values()].flatMap((same) => {
      const [first] = same;
      if (first === undefined) return [];
      return [
        {
          suspects: first.cause.suspects,
          confidence: leastOf(same.map(({ cause }) => cause.confidence)),
          isOf: this.#isOfAny(same),
        },
      ];
    });
  }

  #isOfAny(causes: readonly TimedCause[]): LossCause["isOf"] {
    const names = new Map(this.#run.streams.map(({ streamId, name }) => [streamId, name]));
    return ({ streamId, agent, fromNs, toNs }) => {
      const stream = streamId === null ? undefined : names.get(streamId);
      const host = this.#hostOf(agent);
      // By its middle: one moment begins where another ends.
      const middleNs = (fromNs + toNs) / 2;
      const isThen = (timed: TimedCause): boolean => middleNs >= timed.fromNs && middleNs <= timed.toNs;
      return causes.some(
        (timed) =>
          stream !== undefined &&
          timed.cause.streams.includes(stream) &&
          timed.cause.hosts.includes(host) &&
          isThen(timed),
      );
    };
  }

  #hostOf(agent: string): string {
    return hostOfAgent(this.#graph, agent) ?? agent;
  }
}

const NOBODY: ReadonlySet<string> = new Set();
/** Who lost so much of some numbers, and of so many, lost them where the others did; by chance it is less. Our choice, no source. */
const SURE_SHARE = 0.8;
const UNSURE_SHARE = 0.3;
const SURE_NUMBERS = 3;
/** Of more, the places of the largest are asked for. */
const MOST_ASKED = 200;

const packetsOf = ({ losses }: AlikeLoss): number =>
  losses.reduce((sum, one) => sum + one.episodes.reduce((own, { count }) => own + count, 0), 0);

const spanOf = (losses: readonly { readonly fromNs: number; readonly toNs: number }[]) => ({
  fromNs: leastOf(losses.map(({ fromNs }) => fromNs)),
  toNs: greatestOf(losses.map(({ toNs }) => toNs)),
});

/** What was lost, by stream: silences in moments of the same listeners, the rest in groups of listeners that lost the same. */
function alikeLossesIn(run: CompiledRun, episodes: readonly Episode[]): AlikeLoss[] {
  const byStream = new Map<number, Episode[]>();
  for (const episode of episodes) {
    if (episode.streamId !== null && episode.count > 0) getOrAdd(byStream, episode.streamId, () => []).push(episode);
  }
  return run.streams.flatMap((stream) => {
    const { silences, rest } = partSilences(byStream.get(stream.streamId) ?? [], stream);
    const moments = silentMoments(silences, slackOf(stream)).map(
      ({ slices, fromNs, toNs }): AlikeLoss => ({
        stream,
        losses: lossesByListener(slices),
        fromNs,
        toNs,
        isSilence: true,
        silences,
        unsure: NOBODY,
      }),
    );
    const scattered = alikeLosses(lossesByListener(rest)).map(
      (losses): AlikeLoss => ({
        stream,
        losses,
        ...spanOf(losses.flatMap((loss) => loss.episodes)),
        isSilence: false,
        silences,
        unsure: NOBODY,
      }),
    );
    return [...moments, ...scattered];
  });
}

function lossesByListener(episodes: readonly Episode[]): ListenerLoss[] {
  const byAgent = new Map<string, Episode[]>();
  for (const episode of episodes) getOrAdd(byAgent, episode.agent, () => []).push(episode);
  return [...byAgent].map(([agent, own]) => {
    const runs = own.flatMap(({ detail }) => readLostNumbers(detail)).sort((a, b) => a[0] - b[0]);
    return { agent, episodes: own, runs };
  });
}
