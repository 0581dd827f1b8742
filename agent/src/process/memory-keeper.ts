import { setFlagsFromString } from "node:v8";
import { runInNewContext } from "node:vm";
import { trimHeap } from "../sockets/linux/libc.ts";
import { letGoOfFilePages } from "./file-pages.ts";

/** Idle for three looks: the threads of a run have ended by then, and none is being prepared. At the start there are none: one look is enough. */
const LOOK_EVERY_MS = 20_000;
const LOOKS = 3;

/**
 * Gives back what the start or a run has left behind, once nothing has gone on for a minute, and soon after the start: V8 keeps pages
 * that it may need again, the C library those that V8's compiler had, and much of Node.js is needed once. It takes the main thread some 30 ms.
 */
export class MemoryKeeper {
  readonly #isIdle: () => boolean;
  readonly #timer: NodeJS.Timeout;
  #idleLooks = LOOKS - 1;

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
  letGoOfFilePages();
}
