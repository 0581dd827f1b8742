import { FINDING_KINDS } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import type { DeviceObservation } from "../run/device-observations.ts";
import type { DeviceWitness } from "./suspect-weights.ts";

/** Something that a device says and agents know otherwise, or the other way round. It accuses no place. */
export interface Disagreement {
  /** Node of the device. */
  readonly device: string;
  /** What of it is not used to narrow suspects; null: nothing is held against it. */
  readonly distrusted: "counters" | "tables" | null;
  readonly streams: readonly string[];
  readonly title: string;
  readonly sentence: string;
}

/** Sentences of one finding. Our choice, no source. */
const MOST_TOLD = 6;

const ADVICE = {
  counters:
    "Compare the port's counters on the device's own display with what was read, twice with some seconds between: some devices bring their counters up to date only now and then, or do not count multicast in hardware. Then see whether the plan has the right port there.",
  tables:
    "Look on the device whether snooping is on for this VLAN and whether it has a querier there; without one many devices send to all ports. Then compare its own display of the table with what was read.",
  delivery:
    "Put another host on this port: if that one gets the stream, look at the first host's card, driver and filters; if not, at the cable and at what the device counts.",
} as const;

/** One finding for each device and for what it disagrees in. */
export function disagreementFindings(all: readonly Disagreement[]): Finding[] {
  const sorts = [...new Set(all.map(({ device, distrusted }) => `${device} ${distrusted}`))];
  return sorts.flatMap((sort) => {
    const own = all.filter(({ device, distrusted }) => `${device} ${distrusted}` === sort);
    const [first] = own;
    if (first === undefined) return [];
    const sentences = [...new Set(own.map(({ sentence }) => sentence))];
    return [
      {
        kind: "device-disagrees",
        streams: [...new Set(own.flatMap(({ streams }) => streams))],
        suspects: [],
        confidence: FINDING_KINDS["device-disagrees"].confidence,
        title: first.title,
        evidence: [
          ...sentences.slice(0, MOST_TOLD),
          ...(sentences.length > MOST_TOLD ? [`${sentences.length - MOST_TOLD} more of this sort.`] : []),
        ],
        advice: ADVICE[first.distrusted ?? "delivery"],
        reference: first.distrusted === "tables" ? "RFC 4541, section 2.1; RFC 4363" : "RFC 2863",
      } satisfies Finding,
    ];
  });
}

/** What may narrow suspects: of a device that agents contradict, not what they contradict. */
export function trustedDevices(
  devices: readonly DeviceObservation[],
  disagreements: readonly Disagreement[],
): readonly DeviceObservation[] {
  const isDistrusted = (node: string, what: Disagreement["distrusted"]): boolean =>
    disagreements.some(({ device, distrusted }) => device === node && distrusted === what);
  return devices.map((device) => ({
    ...device,
    ports: isDistrusted(device.node, "counters") ? [] : device.ports,
    // What it lists may well be; what it does not list proves nothing.
    tables: isDistrusted(device.node, "tables")
      ? device.tables.map((table) => ({ ...table, isWhole: false }))
      : device.tables,
  }));
}

/** What devices counted is best explained by a place that agents have cleared: nobody of them is believed against the other. */
export function unfit({ title, streams }: Finding, { path }: DeviceWitness, evidence: readonly string[]): Disagreement {
  return {
    ...{ device: `on the way to ${path.listener}`, distrusted: null, streams },
    title: `Counters on the way to ${path.listener} do not fit what agents found`,
    sentence: `Agents found: ${title}. Devices counted: ${evidence.join(" ")} Either a counter or the plan is wrong there, so that finding's suspects are left as agents have them.`,
  };
}
