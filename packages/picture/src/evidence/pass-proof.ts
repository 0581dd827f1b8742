import { proportionBounds } from "@dyetrace/measure";
import type { SiteGraph } from "@dyetrace/site";
import { formatCount, formatRatio, packetTimeMs, type RunReport } from "@dyetrace/wire";
import { formatMs } from "../format/format-figures.ts";

const MOST_NAMES = 6;

/**
 * What a run without a finding rests on, in sentences: who listened, how many packets, the smallest fault that would have
 * been seen, and what nobody watched. Pure; nothing is claimed of what is not known.
 */
export function passProof(report: RunReport, graph: SiteGraph): readonly string[] {
  return [
    ...report.streams.map((stream) => whoListened(report, stream)),
    ...report.streams.flatMap((stream) => smallestFault(report, stream)),
    ...whoWatched(report),
    ...notWatched(report, graph),
  ];
}

type Stream = RunReport["streams"][number];

const judged = (report: RunReport, { name }: Stream) =>
  report.receipts.filter(({ stream, received, sent }) => stream === name && received !== null && sent !== null);

function whoListened(report: RunReport, stream: Stream): string {
  const receipts = report.receipts.filter((one) => one.stream === stream.name);
  const told = judged(report, stream);
  const packets = told.reduce((sum, { received }) => sum + (received ?? 0), 0);
  const silent = receipts.length - told.length;
  const listeners = receipts.length === 1 ? "1 listener" : `${formatCount(receipts.length)} listeners`;
  const missing = silent === 0 ? "" : ` Of ${formatCount(silent)} of them the run cannot tell.`;
  return `${stream.name}: ${listeners} joined, and ${formatCount(packets)} packets arrived at them.${missing}`;
}

/** @see Clopper and Pearson, Biometrika 26, 1934: what share of loss a count without a loss leaves open, at 95 % */
function smallestFault(report: RunReport, stream: Stream): readonly string[] {
  const counts = judged(report, stream).flatMap(({ sent, listener }) => (sent === null ? [] : [{ sent, listener }]));
  const fewest = counts.toSorted((a, b) => a.sent - b.sent)[0];
  if (fewest === undefined || fewest.sent === 0) return [];
  const { high } = proportionBounds({ hits: 0, trials: fewest.sent });
  const packetMs = packetTimeMs(stream);
  return [
    `${stream.name}: a steady loss above ${formatRatio(high)} would have been seen at each listener (95 %; the fewest packets, ${formatCount(fewest.sent)}, were due at ${fewest.listener}), and an outage from ${formatMs(packetMs)} on, the time of one packet.`,
  ];
}

function whoWatched({ bystanders }: RunReport): readonly string[] {
  const watching = new Set(bystanders.filter(({ frames }) => frames !== null).map(({ agent }) => agent)).size;
  if (watching === 0) return ["Nobody who had not joined watched for frames, so a leak would not have been seen."];
  const who = watching === 1 ? "1 host that had not joined" : `${formatCount(watching)} hosts that had not joined`;
  return [`${who} watched for frames that should not come: a single one would have been seen there, and nowhere else.`];
}

function notWatched(report: RunReport, graph: SiteGraph): readonly string[] {
  const nodes = [...graph.nodes.values()];
  const without = nodes.filter(({ kind, agent }) => kind === "host" && agent === null).length;
  const took = new Set([
    ...report.streams.map(({ source }) => source),
    ...report.receipts.map(({ listener }) => listener),
    ...report.bystanders.map(({ agent }) => agent),
  ]);
  const idle = nodes.flatMap(({ agent }) => (agent === null || took.has(agent) ? [] : [agent]));
  const unknown = report.segments.filter(({ status }) => status === "unknown").length;
  const blind = [...new Set(report.bystanders.filter(({ frames }) => frames === null).map(({ agent }) => agent))];
  return [
    ...(unknown === 0
      ? []
      : [
          `Not watched: ${formatCount(unknown)} of ${formatCount(report.segments.length)} segments and nodes, of which this run can't tell.`,
        ]),
    ...(without === 0 ? [] : [`Not watched: ${hosts(without)} without an agent.`]),
    ...(idle.length === 0 ? [] : [`Not asked: ${some(idle)}.`]),
    ...(blind.length === 0 ? [] : [`Can't watch their network card: ${some(blind)}.`]),
  ];
}

const hosts = (count: number): string => (count === 1 ? "1 host" : `${formatCount(count)} hosts`);

const some = (names: readonly string[]): string =>
  names.length <= MOST_NAMES + 1
    ? names.join(", ")
    : `${names.slice(0, MOST_NAMES).join(", ")} and ${formatCount(names.length - MOST_NAMES)} more`;
