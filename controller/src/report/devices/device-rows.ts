import type { RunReport } from "@dyetrace/wire";
import type { ReportDevice } from "@dyetrace/wire/report/report-device-schema";

type ReportPort = ReportDevice["ports"][number];

export const DEVICE_COLUMNS: readonly string[] = [
  ...["Device", "Port", "Multicast in", "Multicast out", "Errors in", "Dropped going out", "Link"],
];

/** A row for each port that says something. */
export const deviceRows = ({ devices = [] }: RunReport): (string | number | null)[][] =>
  devices.flatMap(({ node, ports }) =>
    ports
      .filter(isTold)
      .map(({ port, inMulticast, outMulticast, inErrors, outDiscards, up }) => [
        node,
        port,
        ...[inMulticast, outMulticast, inErrors, outDiscards],
        up === null ? null : up ? "up" : "down",
      ]),
  );

/** What their tables had of the run's groups, and what could not be read. */
export const deviceNotes = ({ devices = [] }: RunReport): string[] =>
  devices.flatMap((device) => [...groupLines(device), ...device.unread]);

/** For a terminal: whether each could be read, and ports with errors or drops. */
export const deviceLines = ({ devices = [] }: RunReport): string[] =>
  devices.flatMap(({ node, ports, readAt, unread }) => {
    const moved = ports.filter(({ inErrors, outDiscards }) => (inErrors ?? 0) + (outDiscards ?? 0) > 0);
    const counted = ports.filter((port) => port.inMulticast !== null || port.outMulticast !== null).length;
    return [
      readAt.length === 0
        ? (unread[0] ?? `${node} could not be read.`)
        : `${node}: read ${readAt.length} times, ${counted} of ${ports.length} ports counted`,
      ...moved.map(
        ({ port, inErrors, outDiscards }) =>
          `${node}:${port}: ${inErrors ?? "unknown"} errors coming in, ${outDiscards ?? "unknown"} dropped going out`,
      ),
    ];
  });

/** Multicast was counted there, or something went wrong: loopbacks and management interfaces say nothing here. */
const isTold = ({ inMulticast, outMulticast, inErrors, outDiscards }: ReportPort): boolean =>
  inMulticast !== null || outMulticast !== null || (inErrors ?? 0) > 0 || (outDiscards ?? 0) > 0;

const groupLines = ({ node, groups }: ReportDevice): string[] =>
  (groups ?? []).map(({ vlan, group, ports }) => {
    const where = vlan === null ? "" : ` in VLAN ${vlan}`;
    return `${node} had ${group}${where} on ${ports.length === 0 ? "no port" : `port ${ports.join(", ")}`}.`;
  });
