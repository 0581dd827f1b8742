import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import { formatCount, formatRatio, type ReportIncident } from "@dyetrace/wire";
import { groupBy } from "@dyetrace/wire/group-by";
import type { CompiledRun } from "../plan/compiled-run.ts";
import { scheduledPackets, sendingStretches } from "../plan/sending-stretches.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import { type IncidentFacts, incidentFacts, listed } from "./incident-facts.ts";
import type { LossCauses } from "./loss-causes.ts";
import { atPlace, type LossPart, partsOf } from "./loss-incidents.ts";
import type { SteadyKind, SteadyLoss } from "./steady-loss.ts";
import { TOGETHER_NS } from "./together.ts";

/**
 * What went wrong all the time, one incident for each place: with its share over the time that it lasted, and asked for its
 * place by how it began.
 */
export function steadyIncidents(
  steady: readonly SteadyLoss[],
  run: CompiledRun,
  graph: SiteGraph,
  causes: LossCauses,
): readonly ReportIncident[] {
  const placed = begunTogether(steady.filter(({ kind }) => kind === "loss")).flatMap((group) =>
    byPlace(group, partsOf(causes.of(group.flatMap(({ sample }) => sample)))),
  );
  const onTheWay = ofOnePlace(placed).map(({ cause, own }) => {
    const facts = incidentFacts(own.map(wholeOf), run);
    const what = `${listed(facts.base.streams)} ${facts.base.streams.length === 1 ? "was" : "were"} lost all the time at ${facts.who}: ${howMuch(own, facts, run)}`;
    return { ...atPlace(cause, facts, what), isSteady: true };
  });
  const elsewhere = [...groupBy(steady, ({ kind, agent }) => `${kind} ${agent}`).values()].flatMap((own) => {
    const [{ kind = "loss" } = {}] = own;
    return kind === "loss" ? [] : meanwhile(own).map((one) => tell(kind, one, run, graph));
  });
  return [...elsewhere, ...onTheWay];
}

interface Placed {
  readonly cause: LossPart["cause"];
  readonly own: readonly SteadyLoss[];
}

/** One place that loses several streams, of which one shows a little later than the other, is one. */
function ofOnePlace(placed: readonly Placed[]): Placed[] {
  const byCause = groupBy(placed, ({ cause, own }) =>
    cause === null ? [...new Set(own.map(({ agent }) => agent))].toSorted().join(" ") : cause.suspects.join(" "),
  );
  return [...byCause.values()].flatMap((same) => {
    const [first] = same;
    if (first === undefined) return [];
    return meanwhile(same.flatMap(({ own }) => own)).map((own) => ({ cause: first.cause, own }));
  });
}

/** Parts those that do not touch in time. */
function meanwhile(all: readonly SteadyLoss[]): SteadyLoss[][] {
  const groups: SteadyLoss[][] = [];
  let toNs = Number.NEGATIVE_INFINITY;
  for (const one of all.toSorted((a, b) => a.fromNs - b.fromNs)) {
    if (one.fromNs > toNs) groups.push([one]);
    else groups.at(-1)?.push(one);
    toNs = Math.max(toNs, one.toNs);
  }
  return groups;
}

/** Each steady loss with the place that explains most of its first packets. */
function byPlace(group: readonly SteadyLoss[], parts: readonly LossPart[]): Placed[] {
  const shareOf = ({ episodes }: LossPart, { agent, streamId }: SteadyLoss): number =>
    episodes.reduce((sum, one) => sum + (one.agent === agent && one.streamId === streamId ? one.count : 0), 0);
  const partOf = (one: SteadyLoss): LossPart | undefined =>
    parts.toSorted((a, b) => shareOf(b, one) - shareOf(a, one))[0];
  return parts.flatMap((part) => {
    const own = group.filter((one) => partOf(one) === part);
    return own.length === 0 ? [] : [{ cause: part.cause, own }];
  });
}

const WORDS: Readonly<Record<Exclude<SteadyKind, "loss">, (streams: string, who: string) => string>> = {
  "host-loss": (streams, who) => `${who} dropped packets of ${streams} inside the host all the time`,
  duplicates: (streams, who) => `${streams} came more than once to ${who} all the time`,
  reordered: (streams, who) => `${streams} came out of order to ${who} all the time`,
};

function tell(
  kind: Exclude<SteadyKind, "loss">,
  own: readonly SteadyLoss[],
  run: CompiledRun,
  graph: SiteGraph,
): ReportIncident {
  const facts = incidentFacts(own.map(wholeOf), run);
  const suspects = kind === "host-loss" ? facts.base.agents.map((agent) => hostOfAgent(graph, agent) ?? agent) : [];
  const title = `${WORDS[kind](listed(facts.base.streams), facts.who)}: ${howMuch(own, facts, run)}`;
  return { kind, ...facts.base, suspects, isSteady: true, title };
}

const wholeOf = ({ kind, agent, streamId, fromNs, toNs, count }: SteadyLoss): Episode => ({
  ...{ kind, agent, streamId, fromNs, toNs, count },
  detail: "",
});

/** By the packets that were due at these listeners in that time. */
function howMuch(own: readonly SteadyLoss[], { base, lasted }: IncidentFacts, run: CompiledRun): string {
  const due = own.reduce((sum, one) => sum + packetsDue(one, run), 0);
  const share = due === 0 ? "" : `about ${formatRatio(Math.min(1, base.count / due))}, `;
  return `${share}${formatCount(base.count)} packets within ${lasted}`;
}

function packetsDue({ streamId, fromNs, toNs }: SteadyLoss, run: CompiledRun): number {
  const stream = run.streams.find((one) => one.streamId === streamId);
  if (stream === undefined) return 0;
  const stretches = sendingStretches(run, stream);
  return scheduledPackets(stretches, toNs) - scheduledPackets(stretches, fromNs);
}

/** Those whose beginnings lie close to each other: the same place may be behind them. */
function begunTogether(steady: readonly SteadyLoss[]): SteadyLoss[][] {
  const groups: SteadyLoss[][] = [];
  for (const one of steady.toSorted((a, b) => a.fromNs - b.fromNs)) {
    const last = groups.at(-1);
    const [first] = last ?? [];
    if (last !== undefined && first !== undefined && one.fromNs <= first.fromNs + BEGUN_WITHIN_NS) last.push(one);
    else groups.push([one]);
  }
  return groups;
}

/** A loss of one packet in hundreds shows at each listener of the same place within this. */
const BEGUN_WITHIN_NS: number = 5 * TOGETHER_NS;
