/** Columns of a row. */
const FIRST = 0;
const COUNT = 1;
const START_NS = 2;
const SHOWN_NS = 3;
const SHOWN_AT = 4;
const HOST = 5;
const WIDTH = 6;

/**
 * The runs of missing numbers that may still be filled by a late packet: a queue in ascending order. A hole is opened by
 * the packet that jumps over it (it "shows" the hole) and leaves the queue filled or, once it is out of the reorder
 * window, lost. No object per hole: one typed array that grows by doubling, at most to one row for every second number
 * of the window.
 */
export class OpenHoles {
  #rows = new Float64Array(64 * WIDTH);
  #begin = 0; // rows, not cells
  #end = 0;

  get isEmpty(): boolean {
    return this.#begin === this.#end;
  }
  // The head's columns: of no meaning while empty.
  get firstSeq(): number {
    return this.#rows[this.#begin * WIDTH + FIRST] as number;
  }
  get count(): number {
    return this.#rows[this.#begin * WIDTH + COUNT] as number;
  }
  get startNs(): number {
    return this.#rows[this.#begin * WIDTH + START_NS] as number;
  }
  get shownNs(): number {
    return this.#rows[this.#begin * WIDTH + SHOWN_NS] as number;
  }
  get hostLost(): number {
    return this.#rows[this.#begin * WIDTH + HOST] as number;
  }

  /**
   * Opens a hole above all others.
   * @param startNs arrival of the number before the hole; @param shownNs, shownAt arrival of the packet after it, and
   * that packet's place in the order of arrival; @param hostLost how many of the numbers this host may have dropped
   */
  push(firstSeq: number, count: number, startNs: number, shownNs: number, shownAt: number, hostLost: number): void {
    if (this.#end * WIDTH === this.#rows.length) this.#makeRoom();
    this.#write(this.#end, firstSeq, count, startNs, shownNs, shownAt, hostLost);
    this.#end += 1;
  }

  /** Opens a hole below all others. */
  unshift(firstSeq: number, count: number, startNs: number, shownNs: number, shownAt: number): void {
    if (this.#begin > 0) this.#begin -= 1;
    else this.#insert(0);
    this.#write(this.#begin, firstSeq, count, startNs, shownNs, shownAt, 0);
  }

  /** Removes the head. */
  shift(): void {
    this.#begin += 1;
    if (this.#begin === this.#end) {
      this.#begin = 0;
      this.#end = 0;
    }
  }

  /** @returns a handle of the hole that holds `seq`, valid until the next change; -1 if none does */
  find(seq: number): number {
    let low = this.#begin;
    let high = this.#end - 1;
    while (low <= high) {
      const row = (low + high) >>> 1;
      const firstSeq = this.#rows[row * WIDTH + FIRST] as number;
      if (seq < firstSeq) high = row - 1;
      else if (seq >= firstSeq + (this.#rows[row * WIDTH + COUNT] as number)) low = row + 1;
      else return row;
    }
    return -1;
  }
  shownNsOf(handle: number): number {
    return this.#rows[handle * WIDTH + SHOWN_NS] as number;
  }
  shownAtOf(handle: number): number {
    return this.#rows[handle * WIDTH + SHOWN_AT] as number;
  }

  /** A late packet fills `seq`: its hole shrinks, goes, or falls in two. Host loss stays with the lower part first. */
  fill(handle: number, seq: number): void {
    const at = handle * WIDTH;
    const rows = this.#rows;
    const firstSeq = rows[at + FIRST] as number;
    const count = rows[at + COUNT] as number;
    const host = rows[at + HOST] as number;
    const below = seq - firstSeq;
    const above = count - below - 1;
    if (below === 0 && above === 0) {
      this.#remove(handle);
      return;
    }
    const hostBelow = Math.min(below, host);
    const hostAbove = Math.min(above, host - hostBelow);
    if (below === 0) {
      this.#cut(at, seq + 1, above, hostAbove);
      return;
    }
    this.#cut(at, firstSeq, below, hostBelow);
    if (above === 0) return;
    const startNs = rows[at + START_NS] as number;
    const shownNs = rows[at + SHOWN_NS] as number;
    const shownAt = rows[at + SHOWN_AT] as number;
    this.#insert(handle + 1);
    this.#write(handle + 1, seq + 1, above, startNs, shownNs, shownAt, hostAbove);
  }

  #cut(at: number, firstSeq: number, count: number, host: number): void {
    this.#rows[at + FIRST] = firstSeq;
    this.#rows[at + COUNT] = count;
    this.#rows[at + HOST] = host;
  }

  #write(
    row: number,
    firstSeq: number,
    count: number,
    startNs: number,
    shownNs: number,
    shownAt: number,
    host: number,
  ) {
    const at = row * WIDTH;
    this.#rows[at + FIRST] = firstSeq;
    this.#rows[at + COUNT] = count;
    this.#rows[at + START_NS] = startNs;
    this.#rows[at + SHOWN_NS] = shownNs;
    this.#rows[at + SHOWN_AT] = shownAt;
    this.#rows[at + HOST] = host;
  }

  /** Moves the rows from `row` on up by one. Without room this may not move rows down: the caller holds a row number. */
  #insert(row: number): void {
    if (this.#end * WIDTH === this.#rows.length) this.#grow();
    this.#rows.copyWithin((row + 1) * WIDTH, row * WIDTH, this.#end * WIDTH);
    this.#end += 1;
  }

  #remove(row: number): void {
    if (row === this.#begin) {
      this.shift();
      return;
    }
    this.#rows.copyWithin(row * WIDTH, (row + 1) * WIDTH, this.#end * WIDTH);
    this.#end -= 1;
  }

  #makeRoom(): void {
    if (this.#begin * WIDTH * 2 < this.#rows.length) {
      this.#grow();
      return;
    }
    this.#rows.copyWithin(0, this.#begin * WIDTH, this.#end * WIDTH);
    this.#end -= this.#begin;
    this.#begin = 0;
  }

  #grow(): void {
    const rows = new Float64Array(this.#rows.length * 2);
    rows.set(this.#rows);
    this.#rows = rows;
  }
}
