import type { ReadingSummary } from "@dyetrace/wire/devices/reading-summary";

/** How much there is to look at: larger is worse. What was not read yet comes after what is in trouble and before what is well. */
function rankOf(summary: ReadingSummary | undefined): number {
  if (summary === undefined) return 1;
  if (summary.ports === null) return 5;
  if ((summary.faulty ?? 0) > 0) return 4;
  if ((summary.half ?? 0) > 0) return 3;
  return summary.unread === null && (summary.down ?? 0) === 0 ? 0 : 2;
}

/** The worst first; of two alike the one with more faulty ports, then by name. */
export function rankDevices<Device extends { readonly node: string }>(
  devices: readonly Device[],
  summaries: ReadonlyMap<string, ReadingSummary>,
): readonly Device[] {
  return devices.toSorted((one, other) => {
    const [a, b] = [summaries.get(one.node), summaries.get(other.node)];
    return rankOf(b) - rankOf(a) || (b?.faulty ?? 0) - (a?.faulty ?? 0) || (one.node < other.node ? -1 : 1);
  });
}

const some = (count: number, one: string, many: string): string => `${count} ${count === 1 ? one : many}`;

/** The summary of a reading in words; what is unknown is said to be. */
export function saySummary({ ports, down, faulty, half, neighbours, groups }: ReadingSummary): string {
  if (ports === null) return "it could not be read";
  return [
    some(ports, "port", "ports"),
    down === null ? "links unknown" : `${down} without a link`,
    faulty === null
      ? "errors unknown"
      : faulty === 0
        ? "no errors or drops"
        : `${some(faulty, "port", "ports")} with errors or drops`,
    ...(half === null || half === 0 ? [] : [`${some(half, "port", "ports")} at half duplex`]),
    neighbours === null ? "neighbours unknown" : some(neighbours, "neighbour", "neighbours"),
    groups === null ? "group table unknown" : some(groups, "group", "groups"),
  ].join(", ");
}
