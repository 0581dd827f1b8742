import { sifsUs } from "../air/air-exchange.ts";
import type { RadioBand } from "../air/ppdu-time.ts";
import type { AirAck, AirBlockAck, AirDataFrame } from "./air-frame.ts";

/** When a frame was seen: by the radio's timer, and by the clock of whoever captured it; us. */
export interface SeenAt {
  readonly timerUs: number | null;
  readonly clockUs: number | null;
}

/** A frame that waits for its answer. */
export interface AskingFrame<Count> {
  readonly counts: readonly Count[];
  readonly at: SeenAt;
}

/**
 * An answer begins one SIFS after the frame's end. Radios stamp a frame within a few microseconds, hosts as late as they
 * come to it (common practice, no source).
 */
const TIMER_SLACK_US = 50;
const CLOCK_SLACK_US = 1000;
/** A frame of unknown length is no longer than the longest PPDU. */
const LONGEST_US = 5484;
const ANSWER_US = 100;
/** Numbers come again after 4096 frames: an old one that nobody answered is not taken for a new one. */
const OLDEST_US = 1e6;
const MOST_FLOWS = 512;
const MOST_WAITING = 256;

/**
 * Finds whose answer an acknowledgement is: that of the frame right before it, to its sender, in time; and of a block
 * acknowledgement, those of its flow whose numbers it has.
 */
export class AnswerBook<Count> {
  readonly #flows = new Map<string, Map<number, AskingFrame<Count>>>();
  #last: { readonly transmitter: string; readonly longestUs: number; readonly asking: AskingFrame<Count> } | null =
    null;

  /** Whatever else is on the air comes between a frame and its answer: then it is none. */
  forgetLast(): void {
    this.#last = null;
  }

  /** @param airUs null where it is unknown */
  ask(frame: AirDataFrame, asking: AskingFrame<Count>, airUs: number | null, band: RadioBand | null): void {
    const longestUs = (airUs ?? LONGEST_US) + sifsUs(band ?? "5 GHz") + ANSWER_US;
    this.#last = { transmitter: frame.transmitter, longestUs, asking };
    if (frame.tid === null) return;
    const key = `${frame.transmitter} ${frame.receiver} ${frame.tid}`;
    const flow = this.#flows.get(key) ?? new Map<number, AskingFrame<Count>>();
    if (!this.#flows.has(key)) evictOldest(this.#flows, MOST_FLOWS);
    this.#flows.set(key, flow);
    flow.delete(frame.sequence); // the newest stands last
    evictOldest(flow, MOST_WAITING);
    flow.set(frame.sequence, asking);
  }

  /** @returns the frame that it answers; null for an answer to what was not captured */
  acknowledge({ receiver }: AirAck, at: SeenAt): AskingFrame<Count> | null {
    const last = this.#last;
    this.#last = null;
    if (last === null || last.transmitter !== receiver) return null;
    const gapUs = gapOf(last.asking.at, at);
    if (gapUs !== null && (gapUs.us < -gapUs.slackUs || gapUs.us > last.longestUs + gapUs.slackUs)) return null;
    return last.asking;
  }

  /** @returns the frames that it answers, each once */
  acknowledgeBlock({ receiver, transmitter, tid, sequences }: AirBlockAck, at: SeenAt): AskingFrame<Count>[] {
    this.#last = null;
    const flow = this.#flows.get(`${receiver} ${transmitter} ${tid}`);
    if (flow === undefined) return [];
    return sequences.flatMap((sequence) => {
      const asking = flow.get(sequence);
      if (asking === undefined) return [];
      flow.delete(sequence);
      const gapUs = gapOf(asking.at, at);
      return gapUs !== null && gapUs.us > OLDEST_US ? [] : [asking];
    });
  }
}

function gapOf(from: SeenAt, to: SeenAt): { readonly us: number; readonly slackUs: number } | null {
  if (from.timerUs !== null && to.timerUs !== null) {
    return { us: to.timerUs - from.timerUs, slackUs: TIMER_SLACK_US };
  }
  if (from.clockUs === null || to.clockUs === null) return null;
  return { us: to.clockUs - from.clockUs, slackUs: CLOCK_SLACK_US };
}

/** Room for one more: what came first goes first. */
function evictOldest(map: Map<unknown, unknown>, most: number): void {
  if (map.size < most) return;
  const [oldest] = map.keys();
  map.delete(oldest);
}
