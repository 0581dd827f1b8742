import type { IntervalReport } from "@dyetrace/wire";
import { getOrAdd } from "../account/get-or-add.ts";
import { MINUTE_NS } from "../intake/count-minutes.ts";
import type { CompiledRun, CompiledStream } from "../plan/compiled-run.ts";
import { paceNs, scheduledPackets, sendingStretches } from "../plan/sending-stretches.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import type { AgentMinute } from "../store/report-records.ts";
import type { Store } from "../store/store.ts";

/** What is under way as a run ends, or as somebody looks, is no silence yet; nor what a join needs to take effect. */
const LEAST_NS = 2e9;

type Sums = Pick<AgentMinute, "agent" | "streamId" | "minute" | "received" | "lost" | "hostLost">;

/** What the incidents of a run and its strips both read. */
export interface ReadSilences {
  readonly minutes: readonly AgentMinute[];
  readonly silent: readonly Episode[];
}

export async function readSilences(
  store: Pick<Store, "reports">,
  run: CompiledRun,
  untilNs: number,
): Promise<ReadSilences> {
  const minutes = await store.reports.minutes(run.runId);
  return { minutes, silent: await openSilences(store, run, minutes, untilNs) };
}

/**
 * A listener that gets nothing more, or never got anything, counts no loss: no later packet tells it what it missed. From its last
 * packet, or its join, until the end, while its own agent and that of the source worked, such a time is a loss like others; the
 * packets in it are as many as the plan has sent in it.
 * @param untilNs how far the run is
 */
export async function openSilences(
  store: Pick<Store, "reports">,
  run: CompiledRun,
  minutes: readonly Sums[],
  untilNs: number,
): Promise<readonly Episode[]> {
  const latest = new Map<string, Sums>();
  for (const sums of minutes) {
    const key = `${sums.streamId} ${sums.agent}`;
    if (sums.received > 0 && sums.minute >= (latest.get(key)?.minute ?? 0)) latest.set(key, sums);
  }
  const known = new Map<string, Promise<number>>();
  const sentUntil = (stream: CompiledStream): Promise<number> =>
    getOrAdd(known, stream.name, () => sentUntilNs(store, run, stream));
  const found: Episode[] = [];
  for (const join of lastJoins(run)) {
    const stream = run.streams.find(({ name }) => name === join.stream);
    // What was sent of a stream of others no agent has counted: `followedLosses` tells of it.
    if (stream === undefined || stream.production !== undefined || join.agent === stream.source) continue;
    const sums = latest.get(`${stream.streamId} ${join.agent}`);
    const sinceNs = Math.max(join.fromNs, sums === undefined ? 0 : sums.minute * MINUTE_NS);
    const toNs = Math.min(untilNs, join.toNs ?? run.endNs);
    if (untoldNs(run, stream, sums, sinceNs, toNs) < LEAST_NS) continue;
    const silence = await silenceOf(store, run, stream, join.agent, { fromNs: sinceNs, toNs }, sentUntil);
    if (silence !== null) found.push(silence);
  }
  return found;
}

/** How long the packets take of which the last minutes say neither that they came nor that they were lost: cheap to ask of everybody. */
function untoldNs(
  run: CompiledRun,
  stream: CompiledStream,
  sums: Sums | undefined,
  sinceNs: number,
  toNs: number,
): number {
  const stretches = sendingStretches(run, stream);
  const planned = scheduledPackets(stretches, toNs) - scheduledPackets(stretches, sinceNs);
  const told = sums === undefined ? 0 : sums.received + sums.lost + (sums.hostLost ?? 0);
  return (planned - told) * paceNs(stretches, toNs);
}

/** Of each listener the last stay, which nothing follows. */
function lastJoins(run: CompiledRun): readonly CompiledRun["joins"][number][] {
  const last = new Map<string, CompiledRun["joins"][number]>();
  for (const join of run.joins) {
    const key = `${join.stream} ${join.agent}`;
    if ((last.get(key)?.fromNs ?? -1) <= join.fromNs) last.set(key, join);
  }
  return [...last.values()];
}

interface Span {
  readonly fromNs: number;
  readonly toNs: number;
}

async function silenceOf(
  store: Pick<Store, "reports">,
  run: CompiledRun,
  stream: CompiledStream,
  agent: string,
  span: Span,
  sentUntil: (stream: CompiledStream) => Promise<number>,
): Promise<Episode | null> {
  const stretches = sendingStretches(run, stream);
  const [first] = stretches;
  const last = stretches.at(-1);
  if (first === undefined || last === undefined) return null;
  let [fromNs, knownNs] = [Math.max(span.fromNs, first.startNs), 0];
  for await (const { report } of store.reports.ofAgent(run.runId, agent, span.fromNs)) {
    knownNs = Math.max(knownNs, report.toNs);
    fromNs = Math.max(fromNs, lastArrivalNs(report, stream.streamId) ?? 0);
  }
  let toNs = Math.min(span.toNs, knownNs, last.endNs);
  if (toNs - fromNs < LEAST_NS) return null;
  toNs = Math.min(toNs, await sentUntil(stream));
  const numbers = [scheduledPackets(stretches, fromNs), scheduledPackets(stretches, toNs)].map(Math.floor);
  const [before = 0, after = 0] = numbers;
  if (toNs - fromNs < LEAST_NS || after - before < 2) return null;
  return {
    kind: "loss",
    agent,
    streamId: stream.streamId,
    ...{ fromNs, toNs, count: after - before - 1, detail: `${before + 1}-${after - 1}` },
  };
}

function lastArrivalNs({ listeners }: IntervalReport, streamId: number): number | null {
  const arrivals = listeners.flatMap((one) =>
    one.streamId === streamId && (one.receipt?.firstCopies ?? 0) > 0 ? (one.receipt?.lastArrivalNs ?? []) : [],
  );
  return arrivals.length === 0 ? null : Math.max(...arrivals);
}

/** By the source's own count. @returns 0 where it told of none */
async function sentUntilNs(
  store: Pick<Store, "reports">,
  run: CompiledRun,
  { source, streamId }: CompiledStream,
): Promise<number> {
  let untilNs = 0;
  for await (const { report } of store.reports.ofAgent(run.runId, source)) {
    const isSent = report.senders.some((one) => one.streamId === streamId && one.sentPackets > 0);
    if (isSent) untilNs = Math.max(untilNs, Math.min(report.toNs, report.sourcesStopped?.atNs ?? report.toNs));
  }
  return untilNs;
}
