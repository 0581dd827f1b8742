import type { DecodedTestPacket, PacketVerdict } from "@dyetrace/wire/test-packet";
import type { SortedSink } from "../../receive/packet-sorter.ts";
import type { GroupSocket } from "../../sockets/group-socket.ts";
import type { FlowReport } from "./flow-report.ts";
import { MediaFlow } from "./media-flow.ts";
import { TestFlow } from "./test-flow.ts";

/** Flows followed at once; a group carries one, two while something is wrong. */
const FLOWS = 32;

/** Sorts what arrives at one group into flows: test streams by run and stream, anything else by source. */
export class TrafficFollower implements SortedSink {
  misdirectedPackets = 0;
  unfollowedPackets = 0;
  readonly #seesHostDrops: boolean;
  readonly #slotBytes: number;
  readonly #tests: TestFlow[] = [];
  readonly #media: MediaFlow[] = [];
  #startNs = 0;
  #lastNs = 0;

  /** @param slotBytes most bytes of a packet that are handed over */
  constructor(seesHostDrops: boolean, slotBytes: number) {
    this.#seesHostDrops = seesHostDrops;
    this.#slotBytes = slotBytes;
  }

  takeMisdirected(): void {
    this.misdirectedPackets++;
  }

  takeTest(
    _socket: GroupSocket,
    packet: DecodedTestPacket,
    arrivalNs: number,
    ttl: number,
    dscp: number,
    source: () => string | null,
  ): void {
    this.#lastNs = Math.max(this.#lastNs, arrivalNs);
    const flow = this.#testFlow(packet, source);
    if (flow === null) this.unfollowedPackets++;
    else flow.take(packet, this.#lastNs, ttl, dscp);
  }

  takeOther(
    _socket: GroupSocket,
    _verdict: Exclude<PacketVerdict, "test">,
    bytes: Uint8Array,
    at: number,
    length: number,
    arrivalNs: number,
    ttl: number,
    dscp: number,
    source: () => string | null,
  ): void {
    this.#lastNs = Math.max(this.#lastNs, arrivalNs);
    const present = Math.min(length, this.#slotBytes);
    const flow = this.#mediaFlow(bytes, at, present, source());
    if (flow === null) this.unfollowedPackets++;
    else flow.take(bytes, at, present, this.#lastNs, ttl, dscp);
  }

  noteHostDrops(_socket: GroupSocket, drops: number, arrivalNs: number): void {
    for (const flow of this.#tests) flow.noteHostDrops(drops, Math.max(this.#lastNs, arrivalNs));
  }

  /** @returns what each flow did since the last call; flows that fell silent are told with no packets */
  report(nowNs: number, isLast: boolean): FlowReport[] {
    this.#startNs = nowNs;
    return [
      ...this.#tests.map((flow) => flow.report(isLast)),
      ...this.#media.map((flow) => flow.report(nowNs, isLast)),
    ];
  }

  #testFlow(packet: DecodedTestPacket, source: () => string | null): TestFlow | null {
    const { runIdHi, runIdLo, streamId } = packet;
    for (const flow of this.#tests) {
      if (flow.streamId === streamId && flow.runIdLo === runIdLo && flow.runIdHi === runIdHi) return flow;
    }
    if (this.#tests.length >= FLOWS) return null;
    const flow = new TestFlow(packet, source(), this.#seesHostDrops);
    this.#tests.push(flow);
    return flow;
  }

  #mediaFlow(bytes: Uint8Array, at: number, length: number, source: string | null): MediaFlow | null {
    for (const flow of this.#media) if (flow.source === source) return flow;
    if (this.#media.length >= FLOWS) return null;
    const flow = new MediaFlow(source, bytes.subarray(at, at + length), this.#startNs);
    this.#media.push(flow);
    return flow;
  }
}
