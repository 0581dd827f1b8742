import type { Names } from "./name-block.ts";

/** Two sightings of one name further apart than this are two packets. As long as a late packet is waited for (RFC 7680's Tmax). */
const MATCH_NS = 1e9;
/** With more repeats than this the payload does not tell packets apart. Our choice, no source. */
const MOST_REPEATED = 0.2;

/** All that hosts saw of one stream, with one number for each packet that anybody saw. */
export interface NumberedNames {
  /** For each list, the number of each of its names: the stream's order as the fullest list has it, from 0. */
  readonly numbers: readonly (readonly number[])[];
  /** Past the last number. */
  readonly endSeq: number;
  /** When somebody first had the packet, by number; NaN where nobody had it. */
  readonly firstNs: readonly number[];
  /** Packets that nobody had, but counters in their neighbours show missing. */
  readonly missingToAll: number;
  /** Sightings of a name that the same host had already: copies, or a payload that is sent again. */
  readonly repeats: number;
  /** False: payloads repeat so often that packets can't be told apart. */
  readonly isTold: boolean;
}

/**
 * Puts the names that several hosts saw of one stream into one row. Loss is then relative to what anybody saw; where counters
 * show that packets were missing to all (`missing` of neighbours), numbers are left out for them.
 * @param lists of one selection, each in order of arrival, times on one clock within a fraction of a second
 * @param packetsPerName transport stream packets in one datagram; 1 or more
 */
export function numberNames(lists: readonly Names[], packetsPerName: number): NumberedNames {
  const row = new NameRow();
  const order = lists
    .map((_, index) => index)
    .sort((a, b) => (lists[b]?.digests.length ?? 0) - (lists[a]?.digests.length ?? 0));
  const places: number[][] = lists.map(() => []);
  for (const index of order) {
    const list = lists[index];
    if (list !== undefined) places[index] = row.take(list, index);
  }
  const { seqOf, firstNs, missingToAll } = row.number(lists, places, packetsPerName);
  const sightings = lists.reduce((sum, { digests }) => sum + digests.length, 0);
  return {
    numbers: places.map((own) => own.map((place) => seqOf[place] ?? 0)),
    endSeq: firstNs.length,
    firstNs,
    missingToAll,
    repeats: row.repeats,
    isTold: row.repeats <= MOST_REPEATED * sightings,
  };
}

const NONE = -1;
/** Common packets that tell how far two clocks are apart. */
const COMPARED = 101;

/** A payload that is sent again and again stands in one bucket once, so no look is long. */
const bucketOf = (atNs: number): number => Math.floor(atNs / MATCH_NS);
const keyOf = (digest: number, bucket: number): number => bucket * 2 ** 32 + digest;

/** Packets in the order of the stream, as a chain. The first list is taken as it came; what others add is put in where they had it. */
class NameRow {
  repeats = 0;
  /** By digest and second. */
  readonly #byDigest = new Map<number, number[]>();
  /** On the first list's clock. */
  readonly #timeNs: number[] = [];
  /** When somebody first had it, by his own clock. */
  readonly #firstNs: number[] = [];
  readonly #lastList: number[] = [];
  readonly #next: number[] = [];
  /** Place in the first list, or of the name before which another list had it: tells which of two stands further on. */
  readonly #anchor: number[] = [];
  #head = NONE;
  #anchors = 0;
  #isFirst = true;

  /** @returns for each name its packet */
  take({ digests, timesNs }: Names, list: number): number[] {
    const places: number[] = [];
    let cursor = NONE;
    const offNs = this.#clockOff(digests, timesNs);
    for (const [index, digest] of digests.entries()) {
      const atNs = timesNs[index] ?? 0;
      const known = this.#find(digest, atNs + offNs);
      if (known === null) {
        cursor = this.#insert(digest, list, atNs, atNs + offNs, this.#placeAfter(cursor, atNs + offNs));
        places.push(cursor);
        continue;
      }
      if (this.#lastList[known] === list) this.repeats += 1;
      else if (cursor === NONE || (this.#anchor[known] as number) >= (this.#anchor[cursor] as number)) cursor = known;
      this.#lastList[known] = list;
      this.#firstNs[known] = Math.min(this.#firstNs[known] as number, atNs);
      places.push(known);
    }
    this.#isFirst = false;
    return places;
  }

  number(
    lists: readonly Names[],
    places: readonly (readonly number[])[],
    packetsPerName: number,
  ): { readonly seqOf: readonly number[]; readonly firstNs: readonly number[]; readonly missingToAll: number } {
    const before = new Array<number>(this.#next.length).fill(NONE);
    for (let at = this.#head, previous = NONE; at !== NONE; previous = at, at = this.#next[at] as number)
      before[at] = previous;
    // Two packets next to each other, and a host that had both one after the other: what its counters show missing between
    // them was missing to all. The host that shows least is right.
    const missing = new Map<number, number>();
    for (const [list, own] of places.entries()) {
      for (let i = 1; i < own.length; i++) {
        const place = own[i] as number;
        if (before[place] !== own[i - 1]) continue;
        const shown = lists[list]?.missing[i] ?? 0;
        missing.set(place, Math.min(missing.get(place) ?? Number.POSITIVE_INFINITY, shown));
      }
    }
    const seqOf = new Array<number>(this.#next.length).fill(0);
    const firstNs: number[] = [];
    let missingToAll = 0;
    for (let at = this.#head; at !== NONE; at = this.#next[at] as number) {
      const skipped = Math.ceil((missing.get(at) ?? 0) / packetsPerName);
      for (let i = 0; i < skipped; i++) firstNs.push(Number.NaN);
      missingToAll += skipped;
      seqOf[at] = firstNs.length;
      firstNs.push(this.#firstNs[at] as number);
    }
    return { seqOf, firstNs, missingToAll };
  }

  #find(digest: number, atNs: number): number | null {
    let nearest: number | null = null;
    let nearestNs = MATCH_NS;
    const bucket = bucketOf(atNs);
    for (let at = bucket - 1; at <= bucket + 1; at++) {
      for (const place of this.#byDigest.get(keyOf(digest, at)) ?? []) {
        const awayNs = Math.abs((this.#timeNs[place] as number) - atNs);
        if (awayNs > nearestNs) continue;
        nearest = place;
        nearestNs = awayNs;
      }
    }
    return nearest;
  }

  /** What is to be added to a list's times so that they are the first list's: the middle one of what common packets say. */
  #clockOff(digests: readonly number[], timesNs: readonly number[]): number {
    if (this.#isFirst) return 0;
    const step = Math.max(1, Math.floor(digests.length / COMPARED));
    const offs: number[] = [];
    for (let i = 0; i < digests.length; i += step) {
      const atNs = timesNs[i] as number;
      const known = this.#find(digests[i] as number, atNs);
      if (known !== null) offs.push((this.#timeNs[known] as number) - atNs);
    }
    offs.sort((a, b) => a - b);
    return offs[offs.length >> 1] ?? 0;
  }

  /** A packet that the lists before did not have belongs behind the cursor, and behind those that they had by then too. */
  #placeAfter(cursor: number, atNs: number): number {
    if (this.#isFirst) return cursor;
    let after = cursor;
    let next = after === NONE ? this.#head : (this.#next[after] as number);
    while (next !== NONE && (this.#timeNs[next] as number) < atNs) {
      after = next;
      next = this.#next[after] as number;
    }
    return after;
  }

  #insert(digest: number, list: number, ownNs: number, atNs: number, after: number): number {
    const place = this.#next.length;
    const key = keyOf(digest, bucketOf(atNs));
    const own = this.#byDigest.get(key);
    if (own === undefined) this.#byDigest.set(key, [place]);
    else own.push(place);
    this.#timeNs.push(atNs);
    this.#firstNs.push(ownNs);
    this.#lastList.push(list);
    if (this.#isFirst) this.#anchors += 1;
    this.#anchor.push(this.#isFirst ? this.#anchors : after === NONE ? 0 : (this.#anchor[after] as number));
    this.#next.push(after === NONE ? this.#head : (this.#next[after] as number));
    if (after === NONE) this.#head = place;
    else this.#next[after] = place;
    return place;
  }
}
