import Type, { type Static } from "@dyetrace/schema";
import { Nullable } from "../nullable.ts";

const Count = Type.Integer({ minimum: 0, maximum: 2 ** 53 });

/**
 * What a Wi-Fi host knows of its place on the air at one instant, as its kernel tells it. Null is not known; a host that is
 * at no access point has no BSSID and nothing else.
 */
const FACTS = {
  bssid: Nullable(Type.String({ pattern: "^[0-9a-f]{2}(?::[0-9a-f]{2}){5}$" })),
  frequencyMhz: Nullable(Type.Integer({ minimum: 1, maximum: 100_000 })),
  widthMhz: Nullable(Type.Integer({ minimum: 1, maximum: 1000 })),
  signalDbm: Nullable(Type.Integer({ minimum: -128, maximum: 127 })),
  /** Of the last frames, bit/s. */
  txRateBps: Nullable(Count),
  rxRateBps: Nullable(Count),
  /** Since it joined this access point. */
  txRetries: Nullable(Count),
  txFailed: Nullable(Count),
};
export const WifiFactsSchema = Type.Object(FACTS);
export type WifiFacts = Static<typeof WifiFactsSchema>;

export const WifiSightSchema = Type.Object({
  /** Counted as the report's other times: on the agent's clock from the run's start. */
  atNs: Type.Integer({ minimum: -(2 ** 53), maximum: 2 ** 53 }),
  ...FACTS,
});
export type WifiSight = Static<typeof WifiSightSchema>;
