import type { SendBudget } from "../guards/send-budget.ts";
import type { PacketOut, SendRefusal } from "../sockets/packet-out.ts";

/** A socket that sends no more than the host's budget has left; what is held back is refused, and declared as such. */
export class GuardedOut implements PacketOut {
  readonly #inner: PacketOut;
  readonly #budget: SendBudget;
  readonly #clock: () => number;
  #payloadBytes = 0;
  #isHeld = false;

  constructor(inner: PacketOut, budget: SendBudget, clock: () => number) {
    this.#inner = inner;
    this.#budget = budget;
    this.#clock = clock;
  }

  get capacity(): number {
    return this.#inner.capacity;
  }

  get heads(): DataView {
    return this.#inner.heads;
  }

  get headsBytes(): Uint8Array {
    return this.#inner.headsBytes;
  }

  get headBytes(): number {
    return this.#inner.headBytes;
  }

  get refusal(): SendRefusal {
    return this.#isHeld ? "other" : this.#inner.refusal;
  }

  get errorName(): string {
    return this.#isHeld ? "guard" : this.#inner.errorName;
  }

  get onSettled(): PacketOut["onSettled"] {
    return this.#inner.onSettled;
  }

  set onSettled(listener: PacketOut["onSettled"]) {
    this.#inner.onSettled = listener;
  }

  lay(packet: Uint8Array, capacity: number): void {
    this.#payloadBytes = packet.length;
    this.#inner.lay(packet, capacity);
  }

  /** Hot path. */
  send(from: number, count: number): number {
    const room = this.#budget.room(count, this.#payloadBytes, this.#clock());
    this.#isHeld = room === 0;
    if (room === 0) return 0;
    const taken = this.#inner.send(from, room);
    // A packet whose answer is still to come may be under way.
    const isPending = taken === 0 && this.#inner.refusal === "pending";
    this.#budget.spend(isPending ? 1 : taken, this.#payloadBytes);
    return taken;
  }

  close(): void {
    this.#inner.close();
  }
}
