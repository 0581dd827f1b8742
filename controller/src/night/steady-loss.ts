import type { CompiledRun } from "../plan/compiled-run.ts";
import type { Episode } from "../store/kept-report.ts";
import { silenceLength } from "./silences.ts";

/** Losses of a listener go on as long as no pause between them is longer than this. Common practice, no source. */
const PAUSE_NS = 10e9;
/** From this length and this many reports on they are a state, and no incident. Common practice, no source. */
const STEADY_NS = 60e9;
const STEADY_EPISODES = 20;
/** What stands out of a steady loss: this many packets, and this many times the usual, in one report. */
const OUTSTANDING_PACKETS = 10;
const OUTSTANDING_TIMES = 5;

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

/** Losses of one listener that go on. */
interface Going {
  toNs: number;
  /** Not yet known to be steady. */
  pending: Episode[];
  steady: { -readonly [key in keyof SteadyLoss]: SteadyLoss[key] } | null;
  /** Packets of a usual episode. */
  usual: number;
}

/**
 * Parts what goes wrong all the time from what happens once: a steady loss would otherwise join everything of a night to one
 * incident. Takes episodes one by one in the order of their beginnings, and keeps of steady losses only their sum, so that a
 * night of them needs no memory.
 */
export class SteadyLosses {
  readonly steady: SteadyLoss[] = [];
  /** All that is not steady, in no order. */
  readonly others: Episode[] = [];
  readonly #going = new Map<string, Going>();
  readonly #isSilence: (episode: Episode) => boolean;

  constructor(run: CompiledRun) {
    this.#isSilence = silenceLength(run);
  }

  take(episode: Episode): void {
    const { kind, agent, streamId, fromNs, toNs } = episode;
    if (!canBeSteady(kind) || streamId === null || episode.count === 0) {
      this.others.push(episode);
      return;
    }
    const key = `${kind} ${streamId} ${agent}`;
    const before = this.#going.get(key);
    const isOn = before !== undefined && fromNs <= before.toNs + PAUSE_NS;
    if (before !== undefined && !isOn) this.#close(before);
    const going: Going = isOn ? before : { toNs, pending: [], steady: null, usual: 0 };
    this.#going.set(key, going);
    going.toNs = Math.max(going.toNs, toNs);
    if (this.#isSilence(episode)) this.others.push(episode);
    else if (going.steady === null) this.#wait(going, episode, { kind, agent, streamId });
    else if (standsOut(episode, going.usual)) this.others.push(episode);
    else {
      going.steady.count += episode.count;
      going.steady.toNs = Math.max(going.steady.toNs, toNs);
    }
  }

  /** No episode comes any more. */
  end(): void {
    for (const going of this.#going.values()) this.#close(going);
    this.#going.clear();
  }

  #wait(going: Going, episode: Episode, of: Pick<SteadyLoss, "kind" | "agent" | "streamId">): void {
    going.pending.push(episode);
    const fromNs = going.pending[0]?.fromNs ?? 0;
    if (going.pending.length < STEADY_EPISODES || episode.toNs - fromNs < STEADY_NS) return;
    const usual = median(going.pending.map(({ count }) => count));
    const sample = going.pending.filter((one) => !standsOut(one, usual));
    this.others.push(...going.pending.filter((one) => standsOut(one, usual)));
    const count = sample.reduce((sum, one) => sum + one.count, 0);
    going.steady = { ...of, fromNs, toNs: going.toNs, count, sample };
    going.usual = usual;
    going.pending = [];
  }

  #close({ steady, pending }: Going): void {
    if (steady !== null) this.steady.push(steady);
    for (const one of pending) this.others.push(one);
  }
}

const standsOut = ({ count }: Episode, usual: number): boolean =>
  count > OUTSTANDING_PACKETS && count > OUTSTANDING_TIMES * usual;

const median = (values: readonly number[]): number =>
  values.toSorted((a, b) => a - b)[Math.floor(values.length / 2)] ?? 0;
