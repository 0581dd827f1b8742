import type { Scenario, ScenarioStream } from "@dyetrace/wire";

/** A time in which a stream is to be sent with one rate and one payload size. Ns after the run's start. */
export interface SendingStretch {
  readonly startNs: number;
  readonly endNs: number;
  /** UDP payload bits per second. */
  readonly rateBps: number;
  readonly payloadBytes: number;
}

/** When the scenario has a stream sent, in order. */
export function sendingStretches(
  { scenario }: { readonly scenario: Pick<Scenario, "timeline" | "durationNs"> },
  stream: Pick<ScenarioStream, "name" | "rateBps" | "payloadBytes">,
): SendingStretch[] {
  const stretches: SendingStretch[] = [];
  let { rateBps, payloadBytes } = stream;
  let startNs: number | null = null;
  const close = (endNs: number): void => {
    if (startNs !== null && endNs > startNs) stretches.push({ startNs, endNs, rateBps, payloadBytes });
  };
  for (const action of scenario.timeline) {
    if (action.stream !== stream.name || action.kind === "join" || action.kind === "leave") continue;
    close(action.atNs);
    if (action.kind === "emit") startNs = action.atNs;
    if (action.kind === "stop") startNs = null;
    if (action.kind === "set") {
      rateBps = action.rateBps ?? rateBps;
      payloadBytes = action.payloadBytes ?? payloadBytes;
      if (startNs !== null) startNs = action.atNs;
    }
  }
  close(scenario.durationNs);
  return stretches;
}

/** Nominal packets (a real number) that the schedule has sent by an instant. */
export const scheduledPackets = (stretches: readonly SendingStretch[], atNs: number): number =>
  stretches.reduce((sum, { startNs, endNs, rateBps, payloadBytes }) => {
    const onNs = Math.min(endNs, atNs) - startNs;
    return onNs <= 0 ? sum : sum + (onNs * rateBps) / (payloadBytes * 8e9);
  }, 0);

/** From packet to packet in the stretch of an instant, or in the last one before it. */
export function paceNs(stretches: readonly SendingStretch[], atNs: number): number {
  const stretch = stretches.findLast(({ startNs }) => startNs <= atNs) ?? stretches[0];
  return stretch === undefined ? 0 : (stretch.payloadBytes * 8e9) / stretch.rateBps;
}

interface Pause {
  readonly startNs: number;
  readonly endNs: number;
}

/** The stretches less the times in which nothing was sent. */
export const withoutTimes = (stretches: readonly SendingStretch[], pauses: readonly Pause[]): SendingStretch[] =>
  pauses.reduce<SendingStretch[]>(
    (left, pause) =>
      left.flatMap((stretch) => [
        ...(stretch.startNs < pause.startNs ? [{ ...stretch, endNs: Math.min(stretch.endNs, pause.startNs) }] : []),
        ...(stretch.endNs > pause.endNs ? [{ ...stretch, startNs: Math.max(stretch.startNs, pause.endNs) }] : []),
      ]),
    [...stretches],
  );

/** While the stream is sent, on the average; null for a stream that never is. */
export function packetsPerSecond(stretches: readonly SendingStretch[]): number | null {
  const onNs = stretches.reduce((sum, { startNs, endNs }) => sum + endNs - startNs, 0);
  return onNs === 0 ? null : (scheduledPackets(stretches, Number.POSITIVE_INFINITY) * 1e9) / onNs;
}
