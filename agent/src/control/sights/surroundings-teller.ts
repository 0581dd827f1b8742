import type { Surroundings } from "@dyetrace/wire/surroundings/surroundings-schema";
import { AnnouncementWatch } from "../../watcher/announcement-watch.ts";
import { gatewaysOf } from "./gateways.ts";
import { addressesOf, macOf } from "./host-addresses.ts";

const LOOK_EVERY_MS = 1_000;
/** What has not changed is told again this often: for how long it has been so is news as well. */
const TELL_EVERY_MS = 30_000;

/** Tells the controller what this host knows of the network around it, whenever that changes. */
export class SurroundingsTeller {
  readonly #interfaceName: string;
  readonly #send: (surroundings: Surroundings) => void;
  readonly #watch: AnnouncementWatch;
  readonly #timer: NodeJS.Timeout;
  #told = "";
  #toldAtMs = 0;

  constructor(interfaceName: string, send: (surroundings: Surroundings) => void) {
    this.#interfaceName = interfaceName;
    this.#send = send;
    this.#watch = new AnnouncementWatch(interfaceName);
    this.#timer = setInterval(() => this.#look(), LOOK_EVERY_MS);
    this.#timer.unref();
  }

  /** At the next look, whatever was told before: to a controller that has just been reached. */
  tell(): void {
    this.#told = "";
  }

  close(): void {
    clearInterval(this.#timer);
    this.#watch.close();
  }

  #look(): void {
    const nowMs = performance.now();
    this.#watch.drain(nowMs);
    const heard = this.#watch.heard;
    const surroundings: Surroundings = {
      announcements:
        heard?.map(({ announcement, atMs }) => ({ announcement, agoMs: Math.max(0, nowMs - atMs) })) ?? null,
      heardForMs: this.#watch.heardForMs(nowMs),
      addresses: addressesOf(this.#interfaceName),
      mac: macOf(this.#interfaceName),
      gateways: gatewaysOf(this.#interfaceName),
    };
    const { heardForMs: _, ...lasting } = surroundings;
    const said = JSON.stringify({ ...lasting, announcements: heard?.map(({ announcement }) => announcement) ?? null });
    if (said === this.#told && nowMs - this.#toldAtMs < TELL_EVERY_MS) return;
    this.#told = said;
    this.#toldAtMs = nowMs;
    this.#send(surroundings);
  }
}
