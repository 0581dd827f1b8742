import type { ForeignCount } from "@dyetrace/wire";

const SOURCES = 8;
/** Once an interval's table of sources is full, or this many packets were looked at, no more addresses are read. */
const LOOKS = 64;

export type ForeignKind = "foreign" | "malformed" | "other-run" | "other-stream" | "misdirected";

/** Counts what arrives at a socket and is not its streams'. A flood of it costs a count each, no more. */
export class ForeignRecord {
  readonly #counts: Record<ForeignKind, number> = {
    foreign: 0,
    malformed: 0,
    "other-run": 0,
    "other-stream": 0,
    misdirected: 0,
  };
  #sources: string[] = [];
  #looks = 0;

  /** @param source asked only while new sources may still be listed; null if unknown */
  count(kind: ForeignKind, source: () => string | null): void {
    this.#counts[kind]++;
    if (this.#sources.length >= SOURCES || this.#looks >= LOOKS) return;
    this.#looks++;
    const address = source();
    if (address !== null && !this.#sources.includes(address)) this.#sources.push(address);
  }

  report(): ForeignCount {
    return {
      foreignPackets: this.#counts.foreign,
      malformedPackets: this.#counts.malformed,
      otherRunPackets: this.#counts["other-run"],
      otherStreamPackets: this.#counts["other-stream"],
      misdirectedPackets: this.#counts.misdirected,
      sources: [...this.#sources],
    };
  }

  clear(): void {
    for (const kind of Object.keys(this.#counts) as ForeignKind[]) this.#counts[kind] = 0;
    this.#sources = [];
    this.#looks = 0;
  }
}

export const NO_FOREIGN: ForeignCount = new ForeignRecord().report();

export function addForeign(a: ForeignCount, b: ForeignCount): ForeignCount {
  return {
    foreignPackets: a.foreignPackets + b.foreignPackets,
    malformedPackets: a.malformedPackets + b.malformedPackets,
    otherRunPackets: a.otherRunPackets + b.otherRunPackets,
    otherStreamPackets: a.otherStreamPackets + b.otherStreamPackets,
    misdirectedPackets: a.misdirectedPackets + b.misdirectedPackets,
    sources: [...new Set([...a.sources, ...b.sources])].slice(0, SOURCES),
  };
}
