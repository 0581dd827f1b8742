import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

const Ratio = Type.Number({ minimum: 0 });
const Text = Type.String();

/** Share of a radio's time by the standard's formulas, and the mode it is counted for, in words. */
const ShareSchema = Type.Object({ mode: Text, shareRatio: Ratio });

/** How one stream came to one station of an access point. */
export const ReportDeliverySchema = Type.Object({
  stream: Text,
  agent: Text,
  accessPoint: Text,
  /** By the frames that the station's network card got: to the group, to it alone, or some of each; null is unknown. */
  delivered: Nullable(Type.Union([Type.Literal("multicast"), Type.Literal("unicast"), Type.Literal("both")])),
  /** What sending it once to the group takes of the air, and this station's copy. */
  asMulticast: ShareSchema,
  asUnicast: ShareSchema,
});

/** What all streams that an access point carries take of its air. */
export const ReportAirSchema = Type.Object({
  accessPoint: Text,
  asMulticast: ShareSchema,
  asUnicast: ShareSchema,
  /** As it was delivered; null where that is unknown for a station. */
  deliveredShareRatio: Nullable(Ratio),
});

/** What a Wi-Fi host knew of its place on the air when it was last asked; null is not known. */
export const ReportStationSchema = Type.Object({
  agent: Text,
  bssid: Nullable(Text),
  /** Of the plan, by its BSSID; null where the plan has none such. */
  accessPoint: Nullable(Text),
  frequencyMhz: Nullable(Type.Integer()),
  widthMhz: Nullable(Type.Integer()),
  signalDbm: Nullable(Type.Integer()),
  /** Weakest of the run. */
  leastSignalDbm: Nullable(Type.Integer()),
  txRateBps: Nullable(Type.Number()),
  rxRateBps: Nullable(Type.Number()),
  txRetries: Nullable(Type.Integer()),
  txFailed: Nullable(Type.Integer()),
});

export const ReportWifiSchema = Type.Object({
  accessPoints: Type.Array(ReportAirSchema),
  deliveries: Type.Array(ReportDeliverySchema),
  stations: Type.Array(ReportStationSchema),
});
export type ReportWifi = DeepReadonly<Static<typeof ReportWifiSchema>>;

/** A station went from one access point to another; seen within a second of it. */
export const ReportRoamSchema = Type.Object({
  agent: Text,
  atMs: Type.Number(),
  fromBssid: Text,
  toBssid: Text,
  /** Of the plan, by their BSSIDs. */
  from: Nullable(Text),
  to: Nullable(Text),
});
export type ReportRoam = DeepReadonly<Static<typeof ReportRoamSchema>>;
