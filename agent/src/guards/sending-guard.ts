import type { Guards } from "@dyetrace/wire";
import type { Fault } from "@dyetrace/wire/fault";
import type { GuardedStream } from "./guarded-stream.ts";
import { HostLoad } from "./host-load.ts";
import { refusePlace, refuseSize } from "./stream-guard.ts";

/**
 * Asked before each stream that a host starts or changes. An action takes the same time however many streams there are: an
 * agent that thinks for minutes hears no order to stop meanwhile.
 */
export class SendingGuard {
  readonly #guards: Guards;
  readonly #load: HostLoad;
  /** Streams whose place was looked at; it never changes. */
  readonly #placed = new Set<number>();

  constructor(guards: Guards) {
    this.#guards = guards;
    this.#load = new HostLoad(guards);
  }

  /** @returns why this host does not start that stream beside those that it sends, or null */
  start(stream: GuardedStream): Fault | null {
    return this.#refuse(stream) ?? this.#load.put(stream);
  }

  /** @param stream as it would be; whether it is being sent or not @returns why this host does not do that, or null */
  change(stream: GuardedStream): Fault | null {
    return this.#refuse(stream) ?? (this.#load.has(stream.streamId) ? this.#load.put(stream) : null);
  }

  /** A stream's companions end with it. @returns the streams that end */
  stop(streamId: number): readonly number[] {
    return this.#load.remove(streamId);
  }

  #refuse(stream: GuardedStream): Fault | null {
    if (!this.#placed.has(stream.streamId)) {
      const refusal = refusePlace(stream, this.#guards);
      if (refusal !== null) return refusal;
      this.#placed.add(stream.streamId);
    }
    return refuseSize(stream, this.#guards);
  }
}
