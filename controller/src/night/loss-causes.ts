import { type SharedCause, type SharedTrial, sharedCauses } from "@dyetrace/locate";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import { greatestOf, leastOf } from "@dyetrace/wire";
import { getOrAdd } from "../account/get-or-add.ts";
import { alikeLosses, type LostRuns } from "../compare/alike-losses.ts";
import { readLostNumbers } from "../intake/lost-numbers.ts";
import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import type { Episode } from "../store/kept-report.ts";
import type { Witnesses } from "./witnesses.ts";

/** A place that explains losses of one time, with who was hit by it. */
export interface LossCause {
  readonly suspects: readonly string[];
  readonly confidence: number;
  isOf(episode: Episode): boolean;
}

/** A gap of this many packets and this length is a silence, not chance; `locate` holds an outage against the same. */
const SILENCE_PACKETS = 10;
const SILENCE_NS = 100e6;

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
  /** Listeners of the same stream that lost something else. */
  readonly others: readonly ListenerLoss[];
}

/** Asks `locate` where losses of one time come from: for each, who was hit and who surely was not. */
export class LossCauses {
  readonly #run: CompiledRun;
  readonly #graph: SiteGraph;
  readonly #witnesses: Witnesses;
  readonly #ask: (trials: readonly SharedTrial[]) => SharedCause[];

  constructor(run: CompiledRun, graph: SiteGraph, witnesses: Witnesses) {
    this.#run = run;
    this.#graph = graph;
    this.#witnesses = witnesses;
    this.#ask = sharedCauses(graph);
  }

  /**
   * @param episodes of loss, of about the same time
   * @returns the fewest places that explain them; none where no place fits
   */
  of(episodes: readonly Episode[]): LossCause[] {
    const moments = sameMoments(alikeLossesIn(this.#run, episodes));
    return this.#together(moments.flatMap((moment) => this.#askAbout(moment)));
  }

  /** Losses of several streams that began and ended together are explained together. */
  #askAbout(moment: readonly AlikeLoss[]): SharedCause[] {
    const isSilence = moment.some((one) => one.isSilence);
    return this.#ask(moment.map((one) => this.#trialOf(one, isSilence)));
  }

  #trialOf({ stream, losses, fromNs, toNs, others }: AlikeLoss, isSilence: boolean): SharedTrial {
    const hit = new Set(losses.map(({ agent }) => agent));
    // Whoever got nothing at all for a part of that time can't say that the others' way was open.
    const silent = others.filter(
      (other) => wasSilent(stream, other) && other.episodes.some((one) => one.fromNs <= toNs && one.toNs >= fromNs),
    );
    const isSpared = (agent: string): boolean => !hit.has(agent) && !silent.some((one) => one.agent === agent);
    const hostsOf = (agents: readonly string[]): string[] => agents.map((agent) => this.#hostOf(agent));
    return {
      stream: stream.name,
      group: stream.group,
      source: stream.sourceHost,
      isSourceSpecific: stream.isSourceSpecific,
      hit: hostsOf([...hit]),
      spared: hostsOf(this.#witnesses.of(stream, fromNs, toNs).filter(isSpared)),
      isSilence,
    };
  }

  /** Causes with the same suspects are one. */
  #together(causes: readonly SharedCause[]): LossCause[] {
    const bySuspects = new Map<string, SharedCause[]>();
    for (const cause of causes) {
      const key = cause.suspects.join(" ");
      bySuspects.set(key, [...(bySuspects.get(key) ?? []), cause]);
    }
    return [...bySuspects.values()].flatMap((same) => {
      const [first] = same;
      if (first === undefined) return [];
      return [
        {
          suspects: first.suspects,
          confidence: leastOf(same.map(({ confidence }) => confidence)),
          isOf: this.#isOfAny(same),
        },
      ];
    });
  }

  #isOfAny(causes: readonly SharedCause[]): LossCause["isOf"] {
    const names = new Map(this.#run.streams.map(({ streamId, name }) => [streamId, name]));
    return ({ streamId, agent }) => {
      const stream = streamId === null ? undefined : names.get(streamId);
      const host = this.#hostOf(agent);
      return causes.some(
        ({ streams, hosts }) => stream !== undefined && streams.includes(stream) && hosts.includes(host),
      );
    };
  }

  #hostOf(agent: string): string {
    return hostOfAgent(this.#graph, agent) ?? agent;
  }
}

/** What was lost, by stream, in groups of listeners that lost the same. */
function alikeLossesIn(run: CompiledRun, episodes: readonly Episode[]): AlikeLoss[] {
  const byStream = new Map<number, Map<string, Episode[]>>();
  for (const episode of episodes) {
    if (episode.streamId === null || episode.count === 0) continue;
    const ofStream = getOrAdd(byStream, episode.streamId, () => new Map<string, Episode[]>());
    getOrAdd(ofStream, episode.agent, () => []).push(episode);
  }
  return run.streams.flatMap((stream) => {
    const losses = [...(byStream.get(stream.streamId) ?? [])].map(([agent, own]): ListenerLoss => {
      const runs = own.flatMap(({ detail }) => readLostNumbers(detail)).sort((a, b) => a[0] - b[0]);
      return { agent, episodes: own, runs };
    });
    return alikeLosses(losses).map((alike): AlikeLoss => {
      const times = alike.flatMap((loss) => loss.episodes);
      const hit = new Set(alike.map(({ agent }) => agent));
      return {
        stream,
        losses: alike,
        fromNs: leastOf(times.map((one) => one.fromNs)),
        toNs: greatestOf(times.map((one) => one.toNs)),
        isSilence: alike.every((loss) => wasSilent(stream, loss)),
        others: losses.filter(({ agent }) => !hit.has(agent)),
      };
    });
  });
}

/** Two streams tell of one moment's beginning and end within two of their packets, and what reports of time may differ by. */
const SAME_MOMENT_PACKETS = 2;
const SAME_MOMENT_NS = 50e6;

/** Losses of different streams that began and ended together, put together. Of one stream, alike ones are together already. */
function sameMoments(all: readonly AlikeLoss[]): AlikeLoss[][] {
  const moments: AlikeLoss[][] = [];
  for (const loss of all) {
    const same = moments.find(
      (moment) =>
        moment[0] !== undefined &&
        isSameMoment(moment[0], loss) &&
        moment.every(({ stream }) => stream !== loss.stream),
    );
    if (same === undefined) moments.push([loss]);
    else same.push(loss);
  }
  return moments;
}

function isSameMoment(a: AlikeLoss, b: AlikeLoss): boolean {
  const slackNs = SAME_MOMENT_NS + SAME_MOMENT_PACKETS * Math.max(intervalNs(a.stream), intervalNs(b.stream));
  return Math.abs(a.fromNs - b.fromNs) <= slackNs && Math.abs(a.toNs - b.toNs) <= slackNs;
}

const intervalNs = ({ payloadBytes, rateBps, burstPackets }: CompiledStream): number =>
  (payloadBytes * 8e9 * burstPackets) / rateBps;

/** The greater part of what a listener lost lies in gaps that are long enough for silences. */
function wasSilent(stream: CompiledStream, { runs }: ListenerLoss): boolean {
  const lastsNs = (packets: number): number => (packets * stream.payloadBytes * 8e9) / stream.rateBps;
  const sizes = runs.map(([first, last]) => last - first + 1);
  const silent = sizes.filter((size) => size >= SILENCE_PACKETS && lastsNs(size) >= SILENCE_NS);
  const sum = (values: readonly number[]): number => values.reduce((total, value) => total + value, 0);
  return silent.length > 0 && sum(silent) >= sum(sizes) / 2;
}
