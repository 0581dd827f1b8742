/**
 * Room for so many at a time. Where it is full, the one that came first from whoever has the most makes room: so a host that
 * takes all that it can get keeps out only itself, and who comes from elsewhere has a place. Keys are the caller's.
 */
export class FairRoom {
  readonly #most: number;
  /** By share, and there by key in the order in which they came, whom to tell that they have to make room. */
  readonly #shares = new Map<string, Map<string, () => void>>();
  #present = 0;

  constructor(most: number) {
    this.#most = most;
  }

  get present(): number {
    return this.#present;
  }

  presentOf(share: string): number {
    return this.#shares.get(share)?.size ?? 0;
  }

  /**
   * @param share whose room it takes: an address as `networkOfAddress` has it, or a name
   * @param leave called where it has to make room; it is out of the room by then
   */
  enter(key: string, share: string, leave: () => void): void {
    const own = this.#shares.get(share) ?? new Map<string, () => void>();
    this.#shares.set(share, own);
    if (!own.has(key)) this.#present++;
    own.set(key, leave);
    if (this.#present > this.#most) this.#makeRoom();
  }

  leave(key: string, share: string): void {
    const own = this.#shares.get(share);
    if (own?.delete(key) !== true) return;
    this.#present--;
    if (own.size === 0) this.#shares.delete(share);
  }

  #makeRoom(): void {
    let [share, most] = ["", 0];
    for (const [one, { size }] of this.#shares) if (size > most) [share, most] = [one, size];
    const [first] = this.#shares.get(share) ?? [];
    if (first === undefined) return;
    const [key, leave] = first;
    this.leave(key, share);
    leave();
  }
}
