import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";

/** A time in which a stream is to be sent with one rate and one payload size. Ns after the run's start. */
export interface SendingStretch {
  readonly startNs: number;
  readonly endNs: number;
  /** UDP payload bits per second. */
  readonly rateBps: number;
  readonly payloadBytes: number;
}

/** When the scenario has a stream sent, in order. */
export function sendingStretches(run: CompiledRun, stream: CompiledStream): SendingStretch[] {
  const stretches: SendingStretch[] = [];
  let { rateBps, payloadBytes } = stream;
  let startNs: number | null = null;
  const close = (endNs: number): void => {
    if (startNs !== null && endNs > startNs) stretches.push({ startNs, endNs, rateBps, payloadBytes });
  };
  for (const deed of run.scenario.timeline) {
    if (deed.stream !== stream.name || deed.kind === "join" || deed.kind === "leave") continue;
    close(deed.atNs);
    if (deed.kind === "emit") startNs = deed.atNs;
    if (deed.kind === "stop") startNs = null;
    if (deed.kind === "set") {
      rateBps = deed.rateBps ?? rateBps;
      payloadBytes = deed.payloadBytes ?? payloadBytes;
      if (startNs !== null) startNs = deed.atNs;
    }
  }
  close(run.scenario.durationNs);
  return stretches;
}

/** Nominal packets (a real number) that the schedule has sent by an instant. */
export const scheduledPackets = (stretches: readonly SendingStretch[], atNs: number): number =>
  stretches.reduce((sum, { startNs, endNs, rateBps, payloadBytes }) => {
    const onNs = Math.min(endNs, atNs) - startNs;
    return onNs <= 0 ? sum : sum + (onNs * rateBps) / (payloadBytes * 8e9);
  }, 0);
