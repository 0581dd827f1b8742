/**
 * Which stream is due next: a binary heap of stream numbers ordered by due time, in arrays made once.
 * Hot path throughout.
 */
export class DueQueue {
  readonly #dueNs: Float64Array;
  readonly #heap: Int32Array;
  readonly #placeOf: Int32Array;
  #size = 0;

  /** @param capacity streams are numbered 0 to capacity - 1 */
  constructor(capacity: number) {
    this.#dueNs = new Float64Array(capacity);
    this.#heap = new Int32Array(capacity);
    this.#placeOf = new Int32Array(capacity).fill(-1);
  }

  /** @returns due time of the earliest stream, Infinity when none is queued */
  get nextNs(): number {
    return this.#size === 0 ? Number.POSITIVE_INFINITY : this.#due(this.#at(0));
  }

  /** @returns the earliest stream, -1 when none is queued */
  get next(): number {
    return this.#size === 0 ? -1 : this.#at(0);
  }

  /** Queues a stream, or moves one that is queued. */
  put(stream: number, dueNs: number): void {
    let place = this.#placeOf[stream] ?? -1;
    if (place < 0) place = this.#size++;
    this.#dueNs[stream] = dueNs;
    this.#place(place, stream);
    this.#sink(this.#rise(place));
  }

  remove(stream: number): void {
    const place = this.#placeOf[stream] ?? -1;
    if (place < 0) return;
    this.#placeOf[stream] = -1;
    const last = this.#at(--this.#size);
    if (last === stream) return;
    this.#place(place, last);
    this.#sink(this.#rise(place));
  }

  #rise(from: number): number {
    let place = from;
    const stream = this.#at(place);
    while (place > 0) {
      const parent = (place - 1) >> 1;
      const other = this.#at(parent);
      if (this.#due(other) <= this.#due(stream)) break;
      this.#place(place, other);
      place = parent;
    }
    this.#place(place, stream);
    return place;
  }

  #sink(from: number): void {
    let place = from;
    const stream = this.#at(place);
    for (;;) {
      let child = 2 * place + 1;
      if (child >= this.#size) break;
      if (child + 1 < this.#size && this.#due(this.#at(child + 1)) < this.#due(this.#at(child))) child++;
      const other = this.#at(child);
      if (this.#due(other) >= this.#due(stream)) break;
      this.#place(place, other);
      place = child;
    }
    this.#place(place, stream);
  }

  #at(place: number): number {
    return this.#heap[place] as number;
  }

  #due(stream: number): number {
    return this.#dueNs[stream] as number;
  }

  #place(place: number, stream: number): void {
    this.#heap[place] = stream;
    this.#placeOf[stream] = place;
  }
}
