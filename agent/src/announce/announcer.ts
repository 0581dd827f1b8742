import { readFileSync } from "node:fs";
import { networkInterfaces } from "node:os";
import { encodeAnnouncement, type OwnAnnouncement } from "@dyetrace/wire/surroundings/encode-announcement";
import { queryInterface } from "../sockets/linux/interface-query.ts";
import { isLinuxSupported } from "../sockets/linux/libc.ts";
import { RawSender } from "../sockets/linux/raw-sender.ts";

/** msgTxInterval, and the time to live of four of them and a second (IEEE 802.1AB, 9.2.5.6, 9.2.5.7 and 9.2.5.22). */
const EVERY_MS = 30_000;
const TTL_S = 121;
const MOST_ADDRESSES = 4;

/**
 * Announces this host to the device that it hangs on (LLDP), where the host's own file allows it: one frame every 30 s, which no bridge
 * forwards, and one at the end that takes it back.
 */
export class Announcer implements Disposable {
  readonly #interfaceName: string;
  readonly #name: string;
  readonly #onTrouble: (why: string) => void;
  readonly #timer: NodeJS.Timeout;
  #isTroubled = false;

  /** @param onTrouble told once of each time in which it cannot be sent */
  constructor(interfaceName: string, name: string, onTrouble: (why: string) => void) {
    this.#interfaceName = interfaceName;
    this.#name = name;
    this.#onTrouble = onTrouble;
    this.#announce(TTL_S);
    this.#timer = setInterval(() => this.#announce(TTL_S), EVERY_MS);
    this.#timer.unref();
  }

  [Symbol.dispose](): void {
    clearInterval(this.#timer);
    this.#announce(0);
  }

  /** The interface is asked anew each time: it may have gone, and come with other addresses. */
  #announce(ttlS: number): void {
    try {
      const own = ownAnnouncement(this.#interfaceName, this.#name);
      const sender = new RawSender(own.interfaceIndex);
      try {
        sender.send(encodeAnnouncement(own, ttlS));
      } finally {
        sender.close();
      }
      this.#isTroubled = false;
    } catch (error) {
      if (!this.#isTroubled) this.#onTrouble(error instanceof Error ? error.message : String(error));
      this.#isTroubled = true;
    }
  }
}

/** @throws {Error} where there is no such interface now, or no raw sockets */
function ownAnnouncement(interfaceName: string, systemName: string): OwnAnnouncement {
  const index = isLinuxSupported() ? queryInterface(interfaceName)?.index : undefined;
  if (index === undefined) throw new Error(`there is no interface ${interfaceName} to announce on`);
  const mac = readFileSync(`/sys/class/net/${interfaceName}/address`, "utf8").trim();
  const all = networkInterfaces()[interfaceName] ?? [];
  return {
    ...{ mac, interfaceName, interfaceIndex: index, systemName, systemDescription: "A host with an agent of dyetrace" },
    addresses: all.slice(0, MOST_ADDRESSES).map(({ address }) => address),
  };
}
