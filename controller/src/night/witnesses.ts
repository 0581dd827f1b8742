import { MINUTE_NS } from "../intake/count-minutes.ts";
import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import { sendingStretches } from "../plan/sending-stretches.ts";
import type { Episode } from "../store/kept-report.ts";

/** What a listener received in one minute. */
export interface ReceivedMinute {
  readonly agent: string;
  readonly streamId: number;
  readonly minute: number;
  readonly received: number;
}

/** Of a minute in which a stream is sent for less, nobody need have a packet. */
const LEAST_SENT_NS = 1e9;

/**
 * Who surely got a stream at a time: a member throughout that measured, and received some of it in each minute and in the
 * one after. Whoever fell silent for good has no gap that ends, and is no witness.
 */
export class Witnesses {
  readonly #run: CompiledRun;
  readonly #received: ReadonlySet<string>;
  readonly #blind: readonly Episode[];
  readonly #untilNs: number;

  /**
   * @param blind times in which an agent measured nothing, or of which its reports are lost
   * @param untilNs how far the minutes go
   */
  constructor(run: CompiledRun, minutes: readonly ReceivedMinute[], blind: readonly Episode[], untilNs: number) {
    this.#run = run;
    this.#received = new Set(minutes.filter(({ received }) => received > 0).map(keyOf));
    this.#blind = blind.filter(({ kind }) => kind === "away" || kind === "restart" || kind === "dropped");
    this.#untilNs = untilNs;
  }

  /** Agents; each once. */
  of(stream: CompiledStream, fromNs: number, toNs: number): string[] {
    const members = this.#run.joins.filter(
      (join) => join.stream === stream.name && join.fromNs < fromNs && (join.toNs === null || join.toNs > toNs),
    );
    const agents = new Set(members.map(({ agent }) => agent));
    const minutes = this.#minutesSent(stream, fromNs, toNs);
    const hasReceived = (agent: string): boolean =>
      minutes.every((minute) => this.#received.has(keyOf({ agent, streamId: stream.streamId, minute })));
    return [...agents].filter((agent) => hasReceived(agent) && !this.#wasBlind(agent, fromNs, toNs));
  }

  /** The minutes from one instant to the other, and the next one, in which the stream was to be sent for a second at least. */
  #minutesSent(stream: CompiledStream, fromNs: number, toNs: number): number[] {
    const stretches = sendingStretches(this.#run, stream);
    const first = Math.floor(Math.max(0, fromNs) / MINUTE_NS);
    const last = Math.floor(Math.max(0, toNs) / MINUTE_NS) + 1;
    return Array.from({ length: last - first + 1 }, (_, i) => first + i).filter((minute) => {
      const [beginNs, endNs] = [minute * MINUTE_NS, Math.min((minute + 1) * MINUTE_NS, this.#untilNs)];
      return stretches.some((one) => Math.min(one.endNs, endNs) - Math.max(one.startNs, beginNs) >= LEAST_SENT_NS);
    });
  }

  #wasBlind(agent: string, fromNs: number, toNs: number): boolean {
    return this.#blind.some((one) => one.agent === agent && one.fromNs <= toNs && one.toNs >= fromNs);
  }
}

const keyOf = ({ agent, streamId, minute }: Omit<ReceivedMinute, "received">): string =>
  `${minute} ${streamId} ${agent}`;
