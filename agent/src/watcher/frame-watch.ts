import { SequenceRanges } from "@dyetrace/measure";
import type { WatchedStream } from "@dyetrace/wire";
import { parseIpAddress } from "@dyetrace/wire/ip-address";
import { emptyTestPacket, readTestPacketHead } from "@dyetrace/wire/test-packet";
import { PACKET_HOST } from "../sockets/linux/packet-socket.ts";
import type { WatchPlan } from "./watcher-protocol.ts";

/** Runs of sequence numbers kept in all, and the bounds of one stream's share. */
const ALL_RANGES = 65_536;
const MOST_RANGES = 1024;
const FEWEST_RANGES = 16;

/** Counts the test frames of one run as they pass the network card. */
export class FrameWatch {
  readonly #runIdHi: number;
  readonly #runIdLo: number;
  readonly #startNs: number;
  readonly #streams = new Map<number, StreamCount>();
  readonly #byPort = new Map<number, StreamCount[]>();
  readonly #packet = emptyTestPacket();

  constructor(plan: WatchPlan) {
    this.#runIdHi = Number.parseInt(plan.runId.slice(0, 8), 16);
    this.#runIdLo = Number.parseInt(plan.runId.slice(8, 16), 16);
    this.#startNs = plan.startMonotonicNs;
    const share = Math.floor(ALL_RANGES / Math.max(1, plan.streams.length));
    const maxRanges = Math.max(FEWEST_RANGES, Math.min(MOST_RANGES, share));
    for (const stream of plan.streams) {
      const count = new StreamCount(
        stream.streamId,
        parseIpAddress(stream.group)?.bytes ?? new Uint8Array(0),
        maxRanges,
      );
      this.#streams.set(stream.streamId, count);
      const neighbours = this.#byPort.get(stream.port);
      if (neighbours === undefined) this.#byPort.set(stream.port, [count]);
      else neighbours.push(count);
    }
  }

  /**
   * Hot path: one Ethernet frame with UDP to a multicast group, as the watcher's filter lets through.
   * @param at where the frame begins; @param captured bytes of it that are there
   * @param vlanId of a tag that the kernel took off, negative without one
   * @param monotonicNs when the kernel saw the frame
   */
  take(
    view: DataView,
    bytes: Uint8Array,
    at: number,
    captured: number,
    packetType: number,
    vlanId: number,
    monotonicNs: number,
  ): void {
    const udpAt = udpOffset(view, at, captured);
    if (udpAt < 0 || udpAt + 8 > captured) return;
    const udpBytes = view.getUint16(at + udpAt + 4);
    const packet = this.#packet;
    const verdict = readTestPacketHead(view, bytes, at + udpAt + 8, captured - udpAt - 8, udpBytes - 8, 0, 0, packet);
    const isOurs = verdict === "test" && packet.runIdHi === this.#runIdHi && packet.runIdLo === this.#runIdLo;
    const count = isOurs ? this.#streams.get(packet.streamId) : undefined;
    if (count === undefined) this.#takeForeign(view, bytes, at, udpAt, vlanId);
    else if (vlanId >= 0) count.taggedFrames++;
    else count.take(packet.seq, packetType === PACKET_HOST, monotonicNs);
  }

  /** What came since the last call. */
  snapshot(): WatchedStream[] {
    return Array.from(this.#streams.values(), (count) => count.snapshot(this.#startNs));
  }

  #takeForeign(view: DataView, bytes: Uint8Array, at: number, udpAt: number, vlanId: number): void {
    if (vlanId >= 0) return;
    const isIpv4 = view.getUint16(at + 12) === 0x0800;
    const candidates = this.#byPort.get(view.getUint16(at + udpAt + 2));
    if (candidates === undefined) return;
    const destinationAt = isIpv4 ? at + 30 : at + 38;
    const addressBytes = isIpv4 ? 4 : 16;
    for (const count of candidates) {
      if (count.group.length === addressBytes && isSame(bytes, destinationAt, count.group)) count.foreignFrames++;
    }
  }
}

/** @returns where the UDP header begins in the frame, -1 when it is not to be found */
function udpOffset(view: DataView, at: number, captured: number): number {
  if (captured < 14 + 20) return -1;
  const ethertype = view.getUint16(at + 12);
  if (ethertype === 0x0800) return 14 + (view.getUint8(at + 14) & 0x0f) * 4;
  if (ethertype !== 0x86dd || captured < 14 + 48) return -1;
  return view.getUint8(at + 20) === 44 ? 14 + 48 : 14 + 40; // behind a fragment header (RFC 8200 4.5), or none
}

function isSame(bytes: Uint8Array, at: number, group: Uint8Array): boolean {
  for (let i = 0; i < group.length; i++) if (bytes[at + i] !== group[i]) return false;
  return true;
}

class StreamCount {
  readonly streamId: number;
  readonly group: Uint8Array;
  readonly #ranges: SequenceRanges;
  foreignFrames = 0;
  taggedFrames = 0;
  #frames = 0;
  #firstNs = 0;
  #lastNs = 0;
  #unlistedFrames = 0;
  #asUnicastFrames = 0;

  constructor(streamId: number, group: Uint8Array, maxRanges: number) {
    this.streamId = streamId;
    this.group = group;
    this.#ranges = new SequenceRanges(maxRanges);
  }

  /** Hot path. */
  take(seq: number, isUnicast: boolean, monotonicNs: number): void {
    if (this.#frames === 0) this.#firstNs = monotonicNs;
    this.#lastNs = monotonicNs;
    this.#frames++;
    if (isUnicast) this.#asUnicastFrames++;
    if (!this.#ranges.add(seq)) this.#unlistedFrames++;
  }

  snapshot(startNs: number): WatchedStream {
    const hasFrames = this.#frames > 0;
    const taken: WatchedStream = {
      streamId: this.streamId,
      frames: this.#frames,
      firstNs: hasFrames ? this.#firstNs - startNs : null,
      lastNs: hasFrames ? this.#lastNs - startNs : null,
      ranges: this.#ranges.ranges.map(([first, last]): [number, number] => [first, last]),
      unlistedFrames: this.#unlistedFrames,
      asUnicastFrames: this.#asUnicastFrames,
      taggedFrames: this.taggedFrames,
      foreignFrames: this.foreignFrames,
    };
    this.#ranges.clear();
    this.#frames = 0;
    this.#unlistedFrames = 0;
    this.#asUnicastFrames = 0;
    this.taggedFrames = 0;
    this.foreignFrames = 0;
    return taken;
  }
}
