import type { ReportStream } from "./report-schema.ts";

/** A stream's rate, UDP payload bits per second; null: it is a stream of others, and nobody saw it. */
export const knownRateBps = ({
  rateBps,
  production,
  format,
}: Pick<ReportStream, "rateBps" | "production" | "format">): number | null =>
  production === true && format == null ? null : rateBps;

/** From packet to packet of those that are told apart: a shorter outage leaves no trace. */
export const packetTimeMs = ({
  payloadBytes,
  rateBps,
  numberedBps,
}: Pick<ReportStream, "payloadBytes" | "rateBps" | "numberedBps">): number =>
  (payloadBytes * 8000) / (numberedBps ?? rateBps);
