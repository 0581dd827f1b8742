import type { Channel } from "../water/channel-water.ts";
import type { HostWater } from "../water/host-water.ts";
import { hostClass } from "./host-class.ts";
import type { SiteScene } from "./site-scene.ts";

export interface ChangeScene {
  /** As it is in the later run where that differs; elsewhere empty channels and hosts without a reading. */
  readonly scene: SiteScene;
  /** By host: `no loss, now got nothing`. */
  readonly readings: ReadonlyMap<string, string>;
  /** Hosts and channels that differ. */
  readonly changes: number;
}

const EMPTY: Channel = { water: "closed", isFirst: false, isWayUnknown: false };

/** Two runs on one map, inked only where they differ. Pure. @param before and @param after on the same tree */
export function changeScene(before: SiteScene, after: SiteScene): ChangeScene {
  const hosts = new Map<string, HostWater>();
  const readings = new Map<string, string>();
  for (const name of new Set([...before.hosts.keys(), ...after.hosts.keys()])) {
    const [was, is] = [before.hosts.get(name) ?? null, after.hosts.get(name) ?? null];
    if (is?.kind === "source") hosts.set(name, is);
    const [wasClass, isClass] = [hostClass(was), hostClass(is)];
    if (wasClass.key === isClass.key) continue;
    if (is !== null) hosts.set(name, is);
    readings.set(name, `${wasClass.words}, now ${isClass.words}`);
  }
  const channels = new Map<string, Channel>();
  let changed = 0;
  for (const [name, channel] of after.channels) {
    const isSame = before.channels.get(name)?.water === channel.water;
    channels.set(name, isSame ? EMPTY : channel);
    if (!isSame) changed++;
  }
  return { scene: { channels, hosts, ratesBps: new Map() }, readings, changes: readings.size + changed };
}
