import type { NetlinkAnswer } from "@dyetrace/wire/station/netlink-message";
import { askFamily, askInterface, askStations, readFamily, readWifi } from "@dyetrace/wire/station/nl80211";
import type { WifiFacts, WifiSight } from "@dyetrace/wire/station/wifi-sight-schema";
import { GenericNetlink } from "../sockets/linux/generic-netlink.ts";
import { isLinuxSupported } from "../sockets/linux/libc.ts";

/** Signal, rates and counts change all the time: what changed in them alone is told this often. */
const EVERY_NS = 10e9;

/** What the kernel says right now; null where it does not. */
export function readWifiFacts(interfaceIndex: number | null): WifiFacts | null {
  const watch = WifiWatch.open(interfaceIndex);
  const facts = watch?.look() ?? null;
  watch?.close();
  return facts;
}

/** How the kernel is asked. */
export interface KernelLink {
  ask(request: ArrayBuffer, sequence: number): readonly NetlinkAnswer[];
  close(): void;
}

/**
 * At which access point this host's interface is, asked of the kernel (nl80211) once an interval. It tells what changed:
 * another access point, channel or width at once, the rest now and then.
 */
export class WifiWatch {
  readonly #link: KernelLink;
  readonly #family: number;
  readonly #interfaceIndex: number;
  #sequence: number;
  #last: WifiSight | null = null;

  private constructor(link: KernelLink, family: number, interfaceIndex: number, sequence: number) {
    this.#link = link;
    this.#family = family;
    this.#interfaceIndex = interfaceIndex;
    this.#sequence = sequence;
  }

  /** @returns null where the kernel has no nl80211, or the interface is no station of a Wi-Fi network: then it is not known */
  static open(interfaceIndex: number | null, open: () => KernelLink = () => new GenericNetlink()): WifiWatch | null {
    if (interfaceIndex === null || !isLinuxSupported()) return null;
    let link: KernelLink | null = null;
    try {
      link = open();
      const family = readFamily(link.ask(askFamily(1), 1));
      const watch = family === null ? null : new WifiWatch(link, family, interfaceIndex, 2);
      if (watch?.look() !== null && watch !== null) return watch;
    } catch {
      // A kernel that refuses is one that does not tell.
    }
    link?.close();
    return null;
  }

  /** @returns null where the kernel does not say, or it is no station now */
  look(): WifiFacts | null {
    try {
      const ofInterface = this.#ask((sequence) => askInterface(this.#family, sequence, this.#interfaceIndex));
      const ofStations = this.#ask((sequence) => askStations(this.#family, sequence, this.#interfaceIndex));
      return readWifi(ofInterface, ofStations);
    } catch {
      return null;
    }
  }

  #ask(request: (sequence: number) => ArrayBuffer): readonly NetlinkAnswer[] {
    const sequence = this.#sequence;
    this.#sequence = (this.#sequence + 1) >>> 0;
    return this.#link.ask(request(sequence), sequence);
  }

  /** @param atNs on the run's clock @returns what is new since the last time: one sight, or none */
  since(atNs: number): WifiSight[] {
    const seen = this.look();
    if (seen === null) return [];
    const last = this.#last;
    const now = { atNs, ...seen };
    const hasMoved =
      last === null ||
      last.bssid !== now.bssid ||
      last.frequencyMhz !== now.frequencyMhz ||
      last.widthMhz !== now.widthMhz;
    if (!hasMoved && atNs - last.atNs < EVERY_NS) return [];
    this.#last = now;
    return [now];
  }

  /** A run begins: where the host is then is told first. */
  restart(): void {
    this.#last = null;
  }

  close(): void {
    this.#link.close();
  }
}
