import { formatDurationNs } from "@dyetrace/wire";
import type { AirCaution } from "./air-cautions.ts";
import type { CompiledRun } from "./compiled-run.ts";

/** Group frames go out at the lowest rate of the cell; above this a Wi-Fi network may suffer (common practice, no source). */
const WIRELESS_RATE_BPS = 200e3;
/** Groups above which a scenario is taken to be about the size of group tables (common practice, no source). */
const FEW_GROUPS = 8;

/** What whoever starts a run on a live site should have thought of, as lines for a terminal. */
export const cautions = (
  run: Pick<CompiledRun, "streams" | "scenario" | "endNs">,
  hasWireless: boolean,
  unknownSegments: number,
  air: readonly AirCaution[] = [],
  isBursting = false,
): readonly string[] => [
  "Before traffic goes onto a live site:",
  ...thoughtsBefore(run.streams, hasWireless).map((thought) => `  - ${thought}`),
  ...air.filter(({ level }) => level === "warn").map(({ sentence }) => `  - ${sentence}`),
  ...(unknownSegments === 0 ? [] : [`  - ${sayUnknown(unknownSegments)}`]),
  `  - Ctrl-C stops every source at once; a source that loses its controller stops after ${formatDurationNs(run.scenario.holdNs)} at the latest, and all by ${formatDurationNs(run.endNs)}${isBursting ? ", but for a test burst that may follow" : ""}`,
  "  - when it is over, look again whether anything is left",
];

/** Before streams of others are followed. */
export const FOLLOWING_AHEAD =
  "Following what flows already: nothing is sent. Every host that joins gets the stream's whole rate, so mind slow links and access points";

const sayUnknown = (segments: number): string =>
  `the plan has no speed for ${segments === 1 ? "a segment" : `${segments} segments`} on the way, so nobody has compared the load with it`;

/** The same for any screen. The list is common practice, no source. */
export function thoughtsBefore(
  streams: readonly { readonly rateBps: number }[],
  hasWireless: boolean,
): readonly string[] {
  const rateBps = streams.reduce((sum, stream) => sum + stream.rateBps, 0);
  return [
    "have the owner's written consent, an agreed time, and somebody within call who can say stop",
    "know the groups that paging, alarms, cameras, clocks and stage control use, and keep clear of them",
    ...(hasWireless && rateBps > WIRELESS_RATE_BPS
      ? ["there is Wi-Fi on this plan: group traffic above 200 kbit/s in its VLAN takes the air from everyone"]
      : []),
    ...(streams.length > FEW_GROUPS
      ? [
          `${streams.length} groups can fill a switch's group table, and a full one floods or refuses: only in the window`,
        ]
      : []),
  ];
}
