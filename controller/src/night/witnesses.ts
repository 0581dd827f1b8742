import { MINUTE_NS } from "../intake/count-minutes.ts";
import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import { paceNs, type SendingStretch, scheduledPackets, sendingStretches } from "../plan/sending-stretches.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import type { AgentMinute } from "../store/report-records.ts";

/** What a listener received in one minute; copies and losses where they are known. */
export type ReceivedMinute = Pick<AgentMinute, "agent" | "streamId" | "minute" | "received"> &
  Partial<Pick<AgentMinute, "lost" | "hostLost" | "duplicates">>;

/** Of a minute in which a stream is sent for less, nobody need have a packet. */
const LEAST_SENT_NS = 1e9;

/** Of what goes on for a while, whoever measured for this share of it has seen whether it was hit as well. Our choice, no source. */
const ENOUGH_SEEN = 0.5;

interface Span {
  readonly fromNs: number;
  readonly toNs: number;
}

/**
 * Who surely got a stream at a time: a member throughout that measured, and received some of it in each minute and in the
 * one after. Whoever fell silent for good has no gap that ends, and is no witness.
 */
export class Witnesses {
  readonly #run: CompiledRun;
  /** Packets of which a minute with some tells that they came or were lost. */
  readonly #told = new Map<string, number>();
  readonly #blind: readonly Episode[];
  readonly #untilNs: number;

  /**
   * @param blind times in which an agent measured nothing, or of which its reports are lost
   * @param untilNs how far the minutes go
   */
  constructor(run: CompiledRun, minutes: readonly ReceivedMinute[], blind: readonly Episode[], untilNs: number) {
    this.#run = run;
    for (const one of minutes) {
      const key = keyOf(one);
      if (one.received > 0) this.#told.set(key, (this.#told.get(key) ?? 0) + packetsTold(one));
    }
    this.#blind = blind.filter(({ kind }) => kind === "away" || kind === "restart" || kind === "dropped");
    this.#untilNs = untilNs;
  }

  /**
   * Agents; each once.
   * @param goesOn what was to be seen went on from the one instant to the other, so that an agent which measured for most of
   *   that time is a witness too, where its minutes leave no room for as much
   */
  of(stream: CompiledStream, fromNs: number, toNs: number, goesOn = false): string[] {
    // When a stream of others was sent, and what was to come of it, is known by what all saw of it, or not at all.
    if (stream.production !== undefined && (stream.followed?.identifiedBy ?? null) === null) return [];
    const members = this.#run.joins.filter(
      (join) => join.stream === stream.name && join.fromNs < fromNs && (join.toNs === null || join.toNs > toNs),
    );
    const agents = new Set(members.map(({ agent }) => agent));
    const stretches = sendingStretches(this.#run, stream);
    const minutes = this.#minutesSent(stretches, fromNs, toNs);
    const hasReceived = (agent: string): boolean =>
      minutes.every((minute) => this.#told.has(keyOf({ agent, streamId: stream.streamId, minute })));
    return [...agents].filter((agent) => {
      const blind = this.#blind.filter((one) => one.agent === agent && one.fromNs <= toNs && one.toNs >= fromNs);
      if (blind.length === 0) return hasReceived(agent);
      return goesOn && this.#hasSeenEnough(agent, stream, stretches, { fromNs, toNs }, blind);
    });
  }

  /**
   * Of the packets that were due in these minutes while the agent measured, fewer are untold than it would have missed: a
   * silence that its agent's end cuts off has no gap that ends, and no other trace.
   */
  #hasSeenEnough(
    agent: string,
    { streamId }: CompiledStream,
    stretches: readonly SendingStretch[],
    span: Span,
    blind: readonly Span[],
  ): boolean {
    const seenNs = span.toNs - span.fromNs - commonNs(span, blind);
    if (seenNs <= 0 || seenNs < ENOUGH_SEEN * (span.toNs - span.fromNs)) return false;
    let untoldNs = 0;
    for (const minute of this.#minutesSent(stretches, span.fromNs, span.toNs)) {
      const own = { fromNs: minute * MINUTE_NS, toNs: Math.min((minute + 1) * MINUTE_NS, this.#untilNs) };
      const planned = scheduledPackets(stretches, own.toNs) - scheduledPackets(stretches, own.fromNs);
      const told = this.#told.get(keyOf({ agent, streamId, minute })) ?? 0;
      untoldNs += Math.max(0, (planned - told) * paceNs(stretches, own.toNs) - commonNs(own, blind));
    }
    return untoldNs < seenNs / 2;
  }

  /** The minutes from one instant to the other, and the next one, in which the stream was to be sent for a second at least. */
  #minutesSent(stretches: readonly SendingStretch[], fromNs: number, toNs: number): number[] {
    const first = Math.floor(Math.max(0, fromNs) / MINUTE_NS);
    const last = Math.floor(Math.max(0, toNs) / MINUTE_NS) + 1;
    return Array.from({ length: last - first + 1 }, (_, i) => first + i).filter((minute) => {
      const [beginNs, endNs] = [minute * MINUTE_NS, Math.min((minute + 1) * MINUTE_NS, this.#untilNs)];
      return stretches.some((one) => Math.min(one.endNs, endNs) - Math.max(one.startNs, beginNs) >= LEAST_SENT_NS);
    });
  }
}

const packetsTold = ({ received, duplicates = 0, lost = 0, hostLost }: ReceivedMinute): number =>
  received - duplicates + lost + (hostLost ?? 0);

/** How much of a time others have; they do not overlap. */
const commonNs = (span: Span, others: readonly Span[]): number =>
  others.reduce(
    (sum, { fromNs, toNs }) => sum + Math.max(0, Math.min(span.toNs, toNs) - Math.max(span.fromNs, fromNs)),
    0,
  );

const keyOf = ({ agent, streamId, minute }: Omit<ReceivedMinute, "received">): string =>
  `${minute} ${streamId} ${agent}`;
