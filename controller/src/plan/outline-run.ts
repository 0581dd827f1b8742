import type { RunOutline, UserFile } from "@dyetrace/wire";
import type { CompiledRun, CompiledStream } from "./compiled-run.ts";
import { sendingStretches } from "./sending-stretches.ts";

/** What a compiled run is going to do, for whoever draws it while it goes on. Pure. */
export function outlineRun(run: CompiledRun, site: UserFile): RunOutline {
  return {
    site,
    scenario: run.scenario.name,
    streams: run.streams.map((stream) => ({
      streamId: stream.streamId,
      name: stream.name,
      source: stream.source,
      group: stream.group,
      port: stream.port,
      ...(stream.production === undefined ? {} : { production: true }),
      rateBps: stream.rateBps,
      payloadBytes: stream.payloadBytes,
      longestPaceMs: longestPaceMs(run, stream),
      emits: emitsOf(run, stream),
    })),
    joins: run.joins.map(({ stream, agent, fromNs, toNs }) => ({
      stream,
      agent,
      fromMs: fromNs / 1e6,
      toMs: toNs === null ? null : toNs / 1e6,
    })),
  };
}

function longestPaceMs(run: CompiledRun, stream: CompiledRun["streams"][number]): number {
  const paces = [stream, ...sendingStretches(run, stream)].map(
    ({ payloadBytes, rateBps }) => (payloadBytes * 8000 * stream.burstPackets) / rateBps,
  );
  return Math.max(...paces);
}

function emitsOf(run: CompiledRun, stream: CompiledStream): { fromMs: number; toMs: number }[] {
  if (stream.production !== undefined) return [{ fromMs: 0, toMs: run.endNs / 1e6 }]; // it flows, as far as anybody knows
  const emits: { fromMs: number; toMs: number }[] = [];
  let fromMs: number | null = null;
  for (const action of run.scenario.timeline) {
    if (action.stream !== stream.name) continue;
    if (action.kind === "emit") fromMs ??= action.atNs / 1e6;
    if (action.kind === "stop" && fromMs !== null) {
      emits.push({ fromMs, toMs: action.atNs / 1e6 });
      fromMs = null;
    }
  }
  if (fromMs !== null) emits.push({ fromMs, toMs: run.endNs / 1e6 });
  return emits;
}
