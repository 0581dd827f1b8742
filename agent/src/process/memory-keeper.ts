import { setFlagsFromString } from "node:v8";
import { runInNewContext } from "node:vm";
import { trimHeap } from "../sockets/linux/libc.ts";

/** Idle for three looks: the threads of a run have ended by then, and none is being prepared. */
const LOOK_EVERY_MS = 20_000;
const LOOKS = 3;

/**
 * Gives back what the start or a run has left behind, once nothing has gone on for a minute: V8 keeps pages that it may need again,
 * and the C library those that V8's compiler had. It takes the main thread some 30 ms.
 */
export class MemoryKeeper {
  readonly #isIdle: () => boolean;
  readonly #timer: NodeJS.Timeout;
  #idleLooks = 0;

  constructor(isIdle: () => boolean) {
    this.#isIdle = isIdle;
    this.#timer = setInterval(() => this.#look(), LOOK_EVERY_MS);
    this.#timer.unref();
  }

  close(): void {
    clearInterval(this.#timer);
  }

  #look(): void {
    this.#idleLooks = this.#isIdle() ? this.#idleLooks + 1 : 0;
    if (this.#idleLooks === LOOKS) giveBack();
  }
}

function giveBack(): void {
  setFlagsFromString("--expose-gc"); // in contexts that are made from now on
  const collect = runInNewContext("gc") as (how: Readonly<Record<string, string>>) => void;
  collect({ type: "major", execution: "sync", flavor: "last-resort" });
  trimHeap();
}
