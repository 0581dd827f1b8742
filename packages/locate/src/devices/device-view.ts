import { type LinkSegment, planPlace, vlanOfPlace } from "@dyetrace/site";
import type { DeviceObservation, PortCount, PortObservation, TableObservation } from "../run/device-observations.ts";

export type Side = "out" | "in";

/** What a counter stands for: one end of a link, one way. */
export interface CounterPlace {
  readonly node: string;
  readonly port: string;
  readonly side: Side;
}

/** `vlan` null: it counts all VLANs of the port together. */
export type PlacedCount = PortCount & { readonly vlan: number | null };

/** What was read of the devices, by places of the plan. */
export class DeviceView {
  readonly #devices: ReadonlyMap<string, DeviceObservation>;

  constructor(devices: readonly DeviceObservation[]) {
    this.#devices = new Map(devices.map((device) => [device.node, device]));
  }

  /** @returns null where nobody read it, or it cannot have counted; `vlan` null where it counts all VLANs together */
  counter(segment: LinkSegment, side: Side): PlacedCount | null {
    const count = this.told(segment, side);
    const device = this.#devices.get(planPlace((side === "out" ? segment.from : segment.to).node));
    return count !== null && device !== undefined && isCounting(device, count, side) ? count : null;
  }

  /** The same also where it may not count at all. */
  told({ from, to, id }: LinkSegment, side: Side): PlacedCount | null {
    const end = side === "out" ? from : to;
    const device = this.#devices.get(planPlace(end.node));
    const ports = device?.ports.filter(({ port }) => port === end.port) ?? [];
    const vlan = vlanOfPlace(id);
    const port = ports.find((one) => one.vlan !== null && one.vlan === vlan) ?? ports.find((one) => one.vlan === null);
    const count = port?.[side] ?? null;
    return port === undefined || count === null ? null : { ...count, vlan: port.vlan };
  }

  /** Readings of the node's group table, in order of time. */
  tables(node: string): readonly TableObservation[] {
    return this.#devices.get(planPlace(node))?.tables ?? [];
  }
}

/** A port that counted nothing proves it only where it has ever counted, on a device that counts this way at all. */
const isCounting = ({ ports }: DeviceObservation, { frames, hasEverCounted }: PortCount, side: Side): boolean =>
  frames > 0 || (hasEverCounted !== false && ports.some((port: PortObservation) => (port[side]?.frames ?? 0) > 0));
