import type { GroupUse, IpAddress } from "@dyetrace/wire";
import { groupKinship } from "@dyetrace/wire/group-kinship";
import { formatIpAddress, parseIpAddress } from "@dyetrace/wire/ip-address";
import { MOST_GROUP_USES } from "@dyetrace/wire/most-group-uses";

const UDP = 17;
const FRAGMENT = 44;

/** Notes who sends to any of these groups or their kin, as frames pass the network card. Nothing of ours is sent meanwhile. */
export class GroupUseWatch {
  readonly #groups: readonly IpAddress[];
  readonly #uses = new Map<string, { frames: number; readonly use: Omit<GroupUse, "frames"> }>();

  constructor(groups: readonly string[]) {
    this.#groups = groups.flatMap((text) => parseIpAddress(text) ?? []);
  }

  /** @param at where the Ethernet frame begins; @param captured bytes of it that are there @param vlanId negative without a tag */
  take(view: DataView, bytes: Uint8Array, at: number, captured: number, vlanId: number): void {
    if (vlanId >= 0 || captured < 34) return; // another VLAN's
    const isIpv4 = view.getUint16(at + 12) === 0x0800;
    if (!isIpv4 && captured < 54) return;
    const source = isIpv4 ? bytes.slice(at + 26, at + 30) : bytes.slice(at + 22, at + 38);
    const group = isIpv4 ? bytes.slice(at + 30, at + 34) : bytes.slice(at + 38, at + 54);
    const other: IpAddress = { family: isIpv4 ? 4 : 6, bytes: group };
    if (!this.#groups.some((one) => groupKinship(one, other) !== null)) return;
    const portAt = udpPortOffset(view, at, isIpv4);
    const port = portAt === null || portAt + 2 > captured ? null : view.getUint16(at + portAt);
    const key = `${formatIpAddress(group)} ${port} ${formatIpAddress(source)}`;
    const known = this.#uses.get(key);
    if (known !== undefined) known.frames++;
    else if (this.#uses.size < MOST_GROUP_USES) {
      const use = { group: formatIpAddress(group), port, source: formatIpAddress(source) };
      this.#uses.set(key, { frames: 1, use });
    }
  }

  /** What came since the last call. */
  snapshot(): GroupUse[] {
    const uses = [...this.#uses.values()].map(({ frames, use }) => ({ ...use, frames }));
    this.#uses.clear();
    return uses;
  }
}

/** @returns where the destination port stands in the frame, null where it is no UDP */
function udpPortOffset(view: DataView, at: number, isIpv4: boolean): number | null {
  if (isIpv4) return view.getUint8(at + 23) === UDP ? 14 + (view.getUint8(at + 14) & 0x0f) * 4 + 2 : null;
  const next = view.getUint8(at + 20);
  if (next === UDP) return 54 + 2;
  return next === FRAGMENT && view.getUint8(at + 54) === UDP ? 62 + 2 : null;
}
