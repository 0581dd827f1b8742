import type { AgentMessage, ControllerMessage } from "@dyetrace/wire";
import { groupsOfHost } from "../../sockets/linux/host-groups.ts";
import type { Watcher } from "../../watcher/open-watcher.ts";
import { addressesOf } from "./host-addresses.ts";

type Order = Extract<ControllerMessage, { readonly kind: "look" }>;
type Looked = Extract<AgentMessage, { readonly kind: "looked" }>;

const MOST_JOINED = 4096;

/** One look at a time: an order that comes while one is on is told so. It sends nothing but its answer, and joins nothing. */
export class LookTask {
  readonly #watcher: Watcher;
  readonly #interfaceName: string;
  readonly #send: (message: Looked) => void;
  #timer: NodeJS.Timeout | null = null;
  #isOn = false;

  constructor(watcher: Watcher, interfaceName: string, send: (message: Looked) => void) {
    this.#watcher = watcher;
    this.#interfaceName = interfaceName;
    this.#send = send;
  }

  begin({ id, forNs }: Order): void {
    const { inability } = this.#watcher;
    if (inability !== null) this.#refuse(id, `${inability.message}. ${inability.hint}`);
    else if (this.#isOn) this.#refuse(id, "It is looking already, for another inventory");
    else {
      this.#isOn = true;
      void this.#look(id, forNs);
    }
  }

  close(): void {
    if (this.#timer !== null) clearTimeout(this.#timer);
  }

  async #look(id: string, forNs: number): Promise<void> {
    try {
      // What a program of this host joined or left meanwhile counts as joined.
      const before = await groupsOfHost(this.#interfaceName);
      await this.#watcher.beginLook();
      await new Promise<void>((resolve) => {
        this.#timer = setTimeout(resolve, forNs / 1e6);
      });
      const [seen, after] = [await this.#watcher.endLook(), await groupsOfHost(this.#interfaceName)];
      if (seen === null) this.#refuse(id, this.#watcher.inability?.message ?? "Its packet socket could not be opened");
      else {
        const joined = before === null || after === null ? null : [...new Set([...before, ...after])];
        const sight = {
          ...seen,
          joined: joined?.slice(0, MOST_JOINED) ?? null,
          addresses: addressesOf(this.#interfaceName),
        };
        this.#send({ kind: "looked", id, sight, why: "" });
      }
    } catch (error) {
      this.#refuse(id, `It could not look: ${String(error)}`);
    } finally {
      this.#isOn = false;
    }
  }

  #refuse(id: string, why: string): void {
    this.#send({ kind: "looked", id, sight: null, why: why.slice(0, 2000) });
  }
}
