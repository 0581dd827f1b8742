import { MOST_SIGHT_FLOWS } from "@dyetrace/wire/inventory/sight-limits";
import type { SightFlow } from "@dyetrace/wire/inventory/sight-schema";
import { formatIpAddress } from "@dyetrace/wire/ip-address";
import { PACKET_HOST, PACKET_OUTGOING } from "../../sockets/linux/packet-socket.ts";
import { PayloadLooks } from "./payload-look.ts";

const UDP = 17;
const FRAGMENT = 44;
const HOP_BY_HOP = 0;
/** Whether it is IPv6, protocol and port, VLAN, way; then group and source at four words each. */
const KEY_WORDS = 11;
const EMPTY = -1;

/**
 * Who sends to which group and port, with what: counted frame by frame in room that is made at the start. A sender beyond that
 * room is counted in `furtherFrames`.
 */
export class FlowTable {
  readonly #most: number;
  /** Open addressing: places of flows, by their key's hash. */
  readonly #places: Int32Array;
  readonly #mask: number;
  readonly #keys: Uint32Array;
  readonly #key = new Uint32Array(KEY_WORDS);
  readonly #macHigh: Uint16Array;
  readonly #macLow: Uint32Array;
  readonly #frames: Float64Array;
  readonly #bytes: Float64Array;
  readonly #firstNs: Float64Array;
  readonly #lastNs: Float64Array;
  readonly #otherMac: Float64Array;
  readonly #asUnicast: Float64Array;
  readonly #leastBytes: Uint16Array;
  readonly #mostBytes: Uint16Array;
  readonly #ttlLow: Uint8Array;
  readonly #ttlHigh: Uint8Array;
  readonly #dscpLow: Uint8Array;
  readonly #dscpHigh: Uint8Array;
  readonly #looks: PayloadLooks;
  #count = 0;
  #further = 0;

  constructor(most: number = MOST_SIGHT_FLOWS) {
    this.#most = most;
    const places = 2 ** Math.ceil(Math.log2(most * 2));
    this.#places = new Int32Array(places).fill(EMPTY);
    this.#mask = places - 1;
    this.#keys = new Uint32Array(most * KEY_WORDS);
    this.#macHigh = new Uint16Array(most);
    this.#macLow = new Uint32Array(most);
    this.#frames = new Float64Array(most);
    this.#bytes = new Float64Array(most);
    this.#firstNs = new Float64Array(most);
    this.#lastNs = new Float64Array(most);
    this.#otherMac = new Float64Array(most);
    this.#asUnicast = new Float64Array(most);
    this.#leastBytes = new Uint16Array(most);
    this.#mostBytes = new Uint16Array(most);
    this.#ttlLow = new Uint8Array(most);
    this.#ttlHigh = new Uint8Array(most);
    this.#dscpLow = new Uint8Array(most);
    this.#dscpHigh = new Uint8Array(most);
    this.#looks = new PayloadLooks(most);
  }

  get furtherFrames(): number {
    return this.#further;
  }

  /**
   * Hot path: one Ethernet frame to a group, as `allGroupsFilter` lets through. Never throws, whatever the bytes.
   * @param at where the frame begins @param captured bytes of it that are there @param vlanId negative without a tag
   * @param atNs after the look began
   */
  take(view: DataView, at: number, captured: number, packetType: number, vlanId: number, atNs: number): void {
    if (captured < 34 || at + captured > view.byteLength) return;
    const isIpv4 = view.getUint16(at + 12) === 0x0800;
    if (!isIpv4 && (view.getUint16(at + 12) !== 0x86dd || captured < 54)) return;
    let protocol = view.getUint8(at + (isIpv4 ? 23 : 20));
    let payloadAt = 14 + (isIpv4 ? (view.getUint8(at + 14) & 0x0f) * 4 : 40);
    let sizeBytes = isIpv4 ? Math.max(0, view.getUint16(at + 16) - payloadAt + 14) : view.getUint16(at + 18);
    if (!isIpv4 && (protocol === FRAGMENT || protocol === HOP_BY_HOP) && captured >= 62) {
      const headerBytes = protocol === FRAGMENT ? 8 : 8 * (view.getUint8(at + 55) + 1); // RFC 8200 4.3 and 4.5
      protocol = view.getUint8(at + 54);
      payloadAt += headerBytes;
      sizeBytes = Math.max(0, sizeBytes - headerBytes);
    }
    const isUdp = protocol === UDP && payloadAt + 8 <= captured;
    const port = isUdp ? view.getUint16(at + payloadAt + 2) : 0;
    if (isUdp) sizeBytes = Math.max(0, view.getUint16(at + payloadAt + 4) - 8); // the whole datagram's, in a first fragment too
    const key = this.#key;
    key[0] = isIpv4 ? 4 : 6;
    key[1] = (isUdp ? 0x1000000 : 0) + protocol * 65_536 + port;
    key[2] = Math.max(vlanId, 0) * 2 + (packetType === PACKET_OUTGOING ? 1 : 0);
    for (let word = 0; word < 4; word++) {
      key[3 + word] = isIpv4 ? (word === 0 ? view.getUint32(at + 30) : 0) : view.getUint32(at + 38 + 4 * word);
      key[7 + word] = isIpv4 ? (word === 0 ? view.getUint32(at + 26) : 0) : view.getUint32(at + 22 + 4 * word);
    }
    const flow = this.#find();
    if (flow < 0) {
      this.#further++;
      return;
    }
    const ttl = view.getUint8(at + (isIpv4 ? 22 : 21));
    const dscp = isIpv4 ? view.getUint8(at + 15) >> 2 : (view.getUint16(at + 14) >> 6) & 0x3f;
    this.#add(flow, view, at, sizeBytes, ttl, dscp, atNs);
    if (packetType === PACKET_HOST) this.#asUnicast[flow] = (this.#asUnicast[flow] as number) + 1;
    if (isUdp) this.#looks.take(flow, view, at + payloadAt + 8, captured - payloadAt - 8, sizeBytes);
  }

  /** In the order in which they first came. */
  flows(): SightFlow[] {
    return Array.from({ length: this.#count }, (_, flow) => this.#flow(flow));
  }

  /** Hot path. @returns the flow of `#key`, a new one where there is none; -1 where there is no room */
  #find(): number {
    const key = this.#key;
    let hash = 0x811c9dc5; // FNV-1a, by words
    for (let word = 0; word < KEY_WORDS; word++) hash = Math.imul(hash ^ (key[word] as number), 0x01000193);
    hash ^= hash >>> 15;
    for (let probe = hash & this.#mask; ; probe = (probe + 1) & this.#mask) {
      const flow = this.#places[probe] as number;
      if (flow === EMPTY) {
        if (this.#count >= this.#most) return -1;
        this.#places[probe] = this.#count;
        this.#keys.set(key, this.#count * KEY_WORDS);
        return this.#count++;
      }
      if (this.#isKeyOf(flow)) return flow;
    }
  }

  #isKeyOf(flow: number): boolean {
    for (let word = 0; word < KEY_WORDS; word++) {
      if (this.#keys[flow * KEY_WORDS + word] !== this.#key[word]) return false;
    }
    return true;
  }

  /** Hot path. */
  #add(flow: number, view: DataView, at: number, bytes: number, ttl: number, dscp: number, atNs: number): void {
    const macHigh = view.getUint16(at + 6);
    const macLow = view.getUint32(at + 8);
    if (this.#frames[flow] === 0) {
      this.#macHigh[flow] = macHigh;
      this.#macLow[flow] = macLow;
      this.#firstNs[flow] = atNs;
      this.#leastBytes[flow] = this.#mostBytes[flow] = bytes;
      this.#ttlLow[flow] = this.#ttlHigh[flow] = ttl;
      this.#dscpLow[flow] = this.#dscpHigh[flow] = dscp;
    } else {
      if (this.#macHigh[flow] !== macHigh || this.#macLow[flow] !== macLow) {
        this.#otherMac[flow] = (this.#otherMac[flow] as number) + 1;
      }
      if (bytes < (this.#leastBytes[flow] as number)) this.#leastBytes[flow] = bytes;
      if (bytes > (this.#mostBytes[flow] as number)) this.#mostBytes[flow] = bytes;
      if (ttl < (this.#ttlLow[flow] as number)) this.#ttlLow[flow] = ttl;
      if (ttl > (this.#ttlHigh[flow] as number)) this.#ttlHigh[flow] = ttl;
      if (dscp < (this.#dscpLow[flow] as number)) this.#dscpLow[flow] = dscp;
      if (dscp > (this.#dscpHigh[flow] as number)) this.#dscpHigh[flow] = dscp;
    }
    this.#lastNs[flow] = atNs;
    this.#frames[flow] = (this.#frames[flow] as number) + 1;
    this.#bytes[flow] = (this.#bytes[flow] as number) + bytes;
  }

  #flow(flow: number): SightFlow {
    const word = (at: number): number => this.#keys[flow * KEY_WORDS + at] as number;
    const address = (from: number): string => {
      const bytes = new Uint8Array(word(0) === 4 ? 4 : 16);
      const view = new DataView(bytes.buffer);
      for (let at = 0; at < bytes.length; at += 4) view.setUint32(at, word(from + at / 4));
      return formatIpAddress(bytes);
    };
    const vlanId = word(2) >>> 1;
    const of = (counts: Float64Array | Uint16Array | Uint8Array): number => counts[flow] as number;
    return {
      group: address(3),
      protocol: (word(1) >>> 16) & 0xff,
      port: word(1) >= 0x1000000 ? word(1) & 0xffff : null,
      source: address(7),
      hardware: mac(this.#macHigh[flow] as number, this.#macLow[flow] as number),
      otherHardwareFrames: of(this.#otherMac),
      vlanId: vlanId === 0 ? null : vlanId,
      direction: (word(2) & 1) === 1 ? "out" : "in",
      frames: of(this.#frames),
      bytes: of(this.#bytes),
      leastBytes: of(this.#leastBytes),
      mostBytes: of(this.#mostBytes),
      firstNs: Math.max(0, of(this.#firstNs)),
      lastNs: Math.max(0, of(this.#lastNs)),
      ttlLow: of(this.#ttlLow),
      ttlHigh: of(this.#ttlHigh),
      dscpLow: of(this.#dscpLow),
      dscpHigh: of(this.#dscpHigh),
      asUnicastFrames: of(this.#asUnicast),
      look: this.#looks.lookOf(flow),
    };
  }
}

const mac = (high: number, low: number): string =>
  (high.toString(16).padStart(4, "0") + low.toString(16).padStart(8, "0")).replace(/(..)(?=.)/g, "$1:");
