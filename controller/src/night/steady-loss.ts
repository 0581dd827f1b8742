import { getOrAdd } from "../account/get-or-add.ts";
import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import { type Spell, STEADY_NS, STEADY_TIMES, steadyStretches } from "./background.ts";
import { silenceLength } from "./silences.ts";

/** Losses of a listener go on as long as no pause between them is longer than this. Common practice, no source. */
const PAUSE_NS = 10e9;
/** What stands out of a steady loss: this many packets, and this many times the usual, in one report. */
const OUTSTANDING_PACKETS = 10;
const OUTSTANDING_TIMES = 5;
/** Of one listener and stream, single losses that wait until it is known whether they are a state; then they are summed up. */
const MOST_WAITING = 400;
/** Episodes by which a steady loss is asked for its place. */
const MOST_SAMPLE = 20;

/** What can go on for a whole night. */
export type SteadyKind = "loss" | "host-loss" | "duplicates" | "reordered";
const STEADY_KINDS: ReadonlySet<string> = new Set<SteadyKind>(["loss", "host-loss", "duplicates", "reordered"]);
const canBeSteady = (kind: Episode["kind"]): kind is SteadyKind => STEADY_KINDS.has(kind);

/** What a listener lost of a stream again and again, for a minute or for the whole night. */
export interface SteadyLoss {
  readonly kind: SteadyKind;
  readonly agent: string;
  readonly streamId: number;
  readonly fromNs: number;
  readonly toNs: number;
  /** Packets. */
  readonly count: number;
  /** The first of its episodes, which tell where they come from as well as all would. */
  readonly sample: readonly Episode[];
}

/** A piece of a steady loss, or one episode that may be of one. */
interface Piece extends Spell {
  readonly count: number;
  readonly sample: readonly Episode[];
  readonly isSteady: boolean;
}

/** Losses of one listener and stream. */
interface Going {
  readonly of: Pick<SteadyLoss, "kind" | "agent" | "streamId">;
  toNs: number;
  /** Not yet known to be steady. */
  pending: Episode[];
  steady: { -readonly [key in keyof Piece]: Piece[key] } | null;
  /** Packets of a usual episode. */
  usual: number;
  /** What is over, in order of time. */
  over: Piece[];
}

/**
 * Parts what goes wrong all the time from what happens once: a steady loss would otherwise join everything of a night to one
 * incident. Takes episodes one by one in the order of their beginnings, and keeps of steady losses only their sum, so that a
 * night of them needs little memory.
 */
export class SteadyLosses {
  readonly steady: SteadyLoss[] = [];
  /** All that is not steady, in no order. */
  readonly others: Episode[] = [];
  readonly #going = new Map<string, Going>();
  readonly #isSilence: (episode: Episode) => boolean;
  readonly #blind: readonly Episode[];

  /** @param blind times in which agents did not measure: what goes on before and after goes on */
  constructor(run: CompiledRun, blind: readonly Episode[] = []) {
    this.#isSilence = silenceLength(run);
    this.#blind = blind;
  }

  take(episode: Episode): void {
    const { kind, agent, streamId, fromNs, toNs } = episode;
    if (!canBeSteady(kind) || streamId === null || episode.count === 0) {
      this.others.push(episode);
      return;
    }
    const going = getOrAdd(
      this.#going,
      keyOf(episode),
      (): Going => ({ of: { kind, agent, streamId }, toNs, pending: [], steady: null, usual: 0, over: [] }),
    );
    if (fromNs > going.toNs + PAUSE_NS) this.#pause(going);
    going.toNs = Math.max(going.toNs, toNs);
    if (this.#isSilence(episode)) this.others.push(episode);
    else if (going.steady === null) this.#wait(going, episode);
    else if (standsOut(episode, going.usual)) this.others.push(episode);
    else {
      going.steady.count += episode.count;
      going.steady.times += 1;
      going.steady.toNs = Math.max(going.steady.toNs, toNs);
    }
  }

  /** No episode comes any more. */
  end(): void {
    for (const going of this.#going.values()) {
      this.#pause(going);
      for (const piece of this.#together(going)) {
        if (piece.isSteady) this.steady.push(wholeOf(going, piece));
        else this.others.push(...piece.sample);
      }
    }
    this.#going.clear();
  }

  #wait(going: Going, episode: Episode): void {
    going.pending.push(episode);
    const fromNs = going.pending[0]?.fromNs ?? 0;
    if (going.pending.length < STEADY_TIMES || episode.toNs - fromNs < STEADY_NS) return;
    going.usual = median(going.pending.map(({ count }) => count));
    const usual = going.pending.filter((one) => !standsOut(one, going.usual));
    this.others.push(...going.pending.filter((one) => standsOut(one, going.usual)));
    going.steady = { ...pieceOf(usual, true), fromNs, toNs: going.toNs };
    going.pending = [];
  }

  /** A pause: what went on may go on after it, or be over. */
  #pause(going: Going): void {
    const { steady, pending } = going;
    if (steady !== null) going.over.push(steady);
    for (const one of pending) going.over.push(pieceOf([one], false));
    going.steady = null;
    going.pending = [];
    if (going.over.length > MOST_WAITING) {
      const pieces = this.#together(going);
      // What has waited for long and is no state never becomes one.
      const stay = pieces.slice(-MOST_WAITING / 2);
      for (const piece of pieces.slice(0, -stay.length)) {
        if (piece.isSteady) this.steady.push(wholeOf(going, piece));
        else this.others.push(...piece.sample);
      }
      going.over = stay;
    }
  }

  /** Pieces of the same state put together, and the rest as it is. */
  #together({ over, of }: Going): Piece[] {
    const blind = this.#blind.filter(({ agent }) => agent === of.agent);
    const stretches = steadyStretches(over, blind);
    const pieces: Piece[] = [];
    let next = 0;
    for (const [first, last] of stretches) {
      pieces.push(...over.slice(next, first));
      const own = over.slice(first, last + 1);
      const usual = median(own.filter(({ isSteady }) => !isSteady).map(({ count }) => count));
      const isOut = (one: Piece): boolean => !one.isSteady && one.sample.some((episode) => standsOut(episode, usual));
      pieces.push(joined(own.filter((one) => !isOut(one))), ...own.filter(isOut));
      next = last + 1;
    }
    return [...pieces, ...over.slice(next)];
  }
}

export const keyOf = ({ kind, streamId, agent }: Pick<Episode, "kind" | "streamId" | "agent">): string =>
  `${kind} ${streamId} ${agent}`;

const wholeOf = ({ of }: Going, { fromNs, toNs, count, sample }: Piece): SteadyLoss => ({
  ...of,
  ...{ fromNs, toNs, count, sample },
});

const pieceOf = (episodes: readonly Episode[], isSteady: boolean): Piece => ({
  fromNs: episodes[0]?.fromNs ?? 0,
  toNs: episodes.reduce((latest, { toNs }) => Math.max(latest, toNs), 0),
  times: episodes.length,
  count: episodes.reduce((sum, { count }) => sum + count, 0),
  sample: isSteady ? episodes.slice(0, MOST_SAMPLE) : episodes,
  isSteady,
});

const joined = (pieces: readonly Piece[]): Piece => ({
  fromNs: pieces[0]?.fromNs ?? 0,
  toNs: pieces.reduce((latest, { toNs }) => Math.max(latest, toNs), 0),
  times: pieces.reduce((sum, { times }) => sum + times, 0),
  count: pieces.reduce((sum, { count }) => sum + count, 0),
  sample: pieces.flatMap(({ sample }) => sample).slice(0, MOST_SAMPLE),
  isSteady: true,
});

const standsOut = ({ count }: Episode, usual: number): boolean =>
  count > OUTSTANDING_PACKETS && count > OUTSTANDING_TIMES * usual;

const median = (values: readonly number[]): number =>
  values.toSorted((a, b) => a - b)[Math.floor(values.length / 2)] ?? 0;
