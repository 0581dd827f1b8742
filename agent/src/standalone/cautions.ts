import { formatDurationNs } from "@dyetrace/wire";

/** Group frames go out at the lowest rate of the cell; above this a Wi-Fi network may suffer (common practice, no source). */
const WIRELESS_RATE_BPS = 200e3;

/** What whoever sends test traffic should have thought of. */
export function cautions(durationNs: number, rateBps: number, isWireless: boolean | null): readonly string[] {
  return [
    "Before you send on a live network:",
    "  - have the owner's consent, an agreed time, and somebody within call who can say stop",
    "  - keep clear of groups that paging, alarms, cameras, clocks or stage control use",
    "  - begin at 10 packets/s and see that nothing arrives where nobody joined; then double",
    ...(isWireless === true || rateBps > WIRELESS_RATE_BPS
      ? ["  - with Wi-Fi in the same VLAN stay below 200 kbit/s"]
      : []),
    `  - Ctrl-C stops the source at once; it stops by itself after ${formatDurationNs(durationNs)}`,
  ];
}
