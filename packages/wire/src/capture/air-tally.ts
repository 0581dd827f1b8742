import { sifsUs } from "../air/air-exchange.ts";
import { ppduUs } from "../air/ppdu-time.ts";
import { AirBursts } from "./air-bursts.ts";
import { AirCount } from "./air-count.ts";
import { type AirDataFrame, decodeAirFrame, isGroupAddress } from "./air-frame.ts";
import type { AirGroupReading, AirReading } from "./air-reading-schema.ts";
import { AnswerBook, type SeenAt } from "./answer-book.ts";
import type { CapturedFrame } from "./captured-frame.ts";
import { type CarriedGroup, carriedGroups, sayGroupsOf } from "./carried-group.ts";
import { decodeRadiotap, type Radiotap } from "./radiotap.ts";

const [LINK_802_11, LINK_RADIOTAP] = [105, 127];
const FCS_BYTES = 4;
const MOST_GROUPS = 4096;

interface GroupTally {
  readonly group: string | null;
  linkAddress: string | null;
  readonly groupAddressed: AirCount;
  readonly asUnicast: AirCount;
  readonly fromStations: AirCount;
}

/**
 * Adds up a capture of the air, frame by frame, with memory that does not grow with the file. Of what the frames carry only
 * the addresses are looked at, and nothing of it is kept.
 */
export class AirTally {
  readonly #groups = new Map<string, GroupTally>();
  readonly #unreadableUnicast = new AirCount();
  readonly #broadcast = new AirCount();
  readonly #answers = new AnswerBook<AirCount>();
  readonly #bursts = new AirBursts();
  #frames = 0;
  #damaged = 0;
  #unreadable = 0;
  #furtherGroupFrames = 0;
  #hasAnswers = false;
  #firstUs: number | null = null;
  #lastUs: number | null = null;

  take(captured: CapturedFrame): void {
    this.#frames += 1;
    const clockUs = captured.timeUs;
    if (clockUs !== null) {
      this.#firstUs = Math.min(this.#firstUs ?? clockUs, clockUs);
      this.#lastUs = Math.max(this.#lastUs ?? clockUs, clockUs);
    }
    const radio = captured.linkType === LINK_RADIOTAP ? decodeRadiotap(captured.bytes) : PLAIN;
    if (radio === null || (captured.linkType !== LINK_RADIOTAP && captured.linkType !== LINK_802_11)) {
      this.#unreadable += 1;
      return;
    }
    if (radio.isBad) {
      this.#damaged += 1;
      this.#answers.forgetLast();
      return;
    }
    const bytesOnAir = captured.originalBytes - radio.headerBytes + (radio.hasFcs ? 0 : FCS_BYTES);
    const keptEnd = Math.min(captured.bytes.byteLength, radio.headerBytes + bytesOnAir - FCS_BYTES);
    const bytes = captured.bytes.subarray(radio.headerBytes, Math.max(radio.headerBytes, keptEnd));
    const frame = decodeAirFrame(bytes, radio.isPadded);
    const at: SeenAt = { timerUs: radio.timerUs, clockUs };
    if (frame.kind === "ack" || frame.kind === "block-ack") {
      this.#hasAnswers = true;
      this.#takeAnswer(
        frame.kind === "ack" ? [this.#answers.acknowledge(frame, at)] : this.#answers.acknowledgeBlock(frame, at),
        bytesOnAir,
        radio,
      );
    } else if (frame.kind === "data") this.#takeData(frame, bytes, bytesOnAir, radio, at);
    else {
      this.#bursts.end();
      this.#answers.forgetLast();
    }
  }

  #takeAnswer(
    answered: readonly ({ readonly counts: readonly AirCount[] } | null)[],
    bytesOnAir: number,
    radio: Radiotap,
  ): void {
    const usualUs = this.#bursts.end();
    for (const asking of answered) for (const count of asking?.counts ?? []) count.answer();
    const all = new Set(answered.flatMap((asking) => asking?.counts ?? []));
    if (all.size === 0 || usualUs === null) return;
    const { mode, band } = radio;
    const us = mode !== null && band !== null ? sifsUs(band) + ppduUs(mode, bytesOnAir, band) : usualUs;
    for (const count of all) count.addAnswerTime(us / all.size);
  }

  #takeData(frame: AirDataFrame, bytes: Uint8Array, bytesOnAir: number, radio: Radiotap, at: SeenAt): void {
    const counts = this.#countsOf(frame, bytes);
    const asks = frame.answer !== "none";
    for (const count of counts) count.addFrame(frame.receiver, bytesOnAir, frame.isRetry, asks);
    const { mode, band, aggregate } = radio;
    const { transmitter, receiver } = frame;
    let airUs: number | null = null;
    if (mode === null || band === null) {
      this.#bursts.end();
      for (const count of counts) count.addUnknownMode();
    } else airUs = this.#bursts.add({ mode, band, aggregate, transmitter, receiver }, bytesOnAir, counts);
    if (asks) this.#answers.ask(frame, { counts, at }, airUs, band);
    else this.#answers.forgetLast();
  }

  /** Where the frame counts: for each group that it carries something of, or among the rest; nowhere if it is of no group. */
  #countsOf(frame: AirDataFrame, bytes: Uint8Array): readonly AirCount[] {
    const carried = carriedGroups(frame, bytes);
    if (carried === null) return [this.#unreadableUnicast];
    if (carried.length === 0) return frame.destination === "ff:ff:ff:ff:ff:ff" ? [this.#broadcast] : [];
    return carried.flatMap((one) => {
      const tally = this.#tallyOf(one);
      if (tally === null) return [];
      if (frame.way === "to-access-point") return [tally.fromStations];
      return [isGroupAddress(frame.receiver) ? tally.groupAddressed : tally.asUnicast];
    });
  }

  #tallyOf({ group, linkAddress }: CarriedGroup): GroupTally | null {
    const key = group ?? linkAddress ?? "";
    const known = this.#groups.get(key);
    if (known !== undefined) {
      known.linkAddress ??= linkAddress;
      return known;
    }
    if (this.#groups.size >= MOST_GROUPS) {
      this.#furtherGroupFrames += 1;
      return null;
    }
    const counts = { groupAddressed: new AirCount(), asUnicast: new AirCount(), fromStations: new AirCount() };
    const tally: GroupTally = { group, linkAddress, ...counts };
    this.#groups.set(key, tally);
    return tally;
  }

  /** @param rest what the reader of the file says */
  reading(rest: Pick<AirReading, "format" | "problem">): AirReading {
    this.#bursts.end();
    const durationUs = this.#firstUs === null || this.#lastUs === null ? null : this.#lastUs - this.#firstUs;
    const read = (count: AirCount) => count.reading(this.#hasAnswers, durationUs);
    const groups = [...this.#groups.values()].map(
      ({ group, linkAddress, groupAddressed, asUnicast, fromStations }): AirGroupReading => ({
        group,
        linkAddress,
        oneOf: group === null && linkAddress !== null ? sayGroupsOf(linkAddress) : null,
        groupAddressed: read(groupAddressed),
        asUnicast: read(asUnicast),
        fromStations: read(fromStations),
      }),
    );
    const framesOf = (of: AirGroupReading): number =>
      of.groupAddressed.frames + of.asUnicast.frames + of.fromStations.frames;
    const airOf = (of: AirGroupReading): number =>
      (of.groupAddressed.takenMs ?? 0) + (of.asUnicast.takenMs ?? 0) + (of.fromStations.takenMs ?? 0);
    return {
      format: rest.format,
      startedAt: isoTime(this.#firstUs),
      durationMs: durationUs === null ? null : durationUs / 1000,
      frames: this.#frames,
      damagedFrames: this.#damaged,
      unreadableFrames: this.#unreadable,
      hasAnswers: this.#hasAnswers,
      groups: groups.sort((a, b) => airOf(b) - airOf(a) || framesOf(b) - framesOf(a)),
      furtherGroupFrames: this.#furtherGroupFrames,
      unreadableUnicast: read(this.#unreadableUnicast),
      broadcast: read(this.#broadcast),
      problem: rest.problem,
    };
  }
}

/** A file without radiotap headers: frames alone, of which nothing more is known. */
const PLAIN: Radiotap = {
  headerBytes: 0,
  timerUs: null,
  band: null,
  mode: null,
  aggregate: null,
  hasFcs: false,
  isPadded: false,
  isBad: false,
};

/** Dates end in the year 275760. */
const isoTime = (us: number | null): string | null =>
  us === null || Math.abs(us) > 8.64e18 ? null : new Date(us / 1000).toISOString();
