import type { SiteGraph } from "@dyetrace/site";
import { HeardReports } from "../plan/heard-reports.ts";
import type { RunObservations } from "../run/run-observations.ts";
import { nodeAbove, placesFor, siteWithHostAt } from "./site-with-host-at.ts";

/** Hosts that hear, and are heard, as on other nodes than the planned ones. */
export interface HeardElsewhere {
  readonly hosts: readonly {
    readonly host: string;
    readonly plannedAt: string | null;
    /** Nodes on which it fits; of two hosts that sit in each other's place, that place. */
    readonly fits: readonly string[];
  }[];
  /** Pairs of them and others that are not as planned. */
  readonly misfits: number;
  /** The plan with them there. */
  readonly graph: SiteGraph;
}

/**
 * One unexpected thing heard is a doubt: a switch may be set to hand reports on. Two, that another place explains, are an
 * error in the plan. Our choice, no source.
 */
const LEAST_SAVED = 2;
/** What may be left unexplained of it. Our choice, no source. */
const MOST_LEFT = 0.25;
/** With more hosts in doubt than this the switches are otherwise than the rule has them. A bound of effort, no source. */
const MOST_TRIED = 24;

/** So many nodes are gone through for all places that are tried: a bound of effort, no source. */
const BUDGET = 300_000;

/** Hosts, and the nodes that they are supposed on. */
interface Move {
  readonly hosts: readonly string[];
  readonly places: readonly string[];
}

interface TriedMove extends Move {
  readonly before: number;
  readonly left: number;
}

/** The host, or the two in each other's place, with most that this explains; null where there is none, or several do alike. */
export function heardElsewhere(
  graph: SiteGraph,
  run: RunObservations,
  silent: ReadonlySet<string>,
): HeardElsewhere | null {
  const heard = new HeardReports(run);
  const misfits = heard.misfits(graph, silent);
  if (misfits.size === 0) return null;
  const hosts = [...misfits.keys()].filter((host) => nodeAbove(graph, host) !== null);
  if (hosts.length > MOST_TRIED) return null;
  const left = (some: readonly string[], site: SiteGraph): number =>
    some.reduce((sum, host) => sum + heard.misfitsOf(host, site, silent), 0);
  const often = hosts.filter((host) => (misfits.get(host) ?? 0) >= LEAST_SAVED);
  const all = [...exchanges(graph, hosts), ...singles(graph, often)];
  if (all.length * graph.nodes.size > BUDGET) return null;
  const moves = all
    .map((move): TriedMove => {
      const before = move.hosts.reduce((sum, host) => sum + (misfits.get(host) ?? 0), 0);
      return { ...move, before, left: left(move.hosts, siteAfter(graph, move)) };
    })
    .filter((move) => savedBy(move) >= LEAST_SAVED && move.left <= MOST_LEFT * move.before);
  const most = Math.max(0, ...moves.map(savedBy));
  const best = moves.filter((move) => savedBy(move) === most);
  const [first] = best;
  if (first === undefined || best.some((move) => move.hosts.join(" ") !== first.hosts.join(" "))) return null;
  return {
    hosts: first.hosts.map((host, i) => ({
      host,
      plannedAt: nodeAbove(graph, host),
      fits: [...new Set(best.flatMap(({ places }) => places[i] ?? []))],
    })),
    misfits: first.before,
    graph: siteAfter(graph, first),
  };
}

const savedBy = ({ before, left }: TriedMove): number => before - left;

const siteAfter = (graph: SiteGraph, { hosts, places }: Move): SiteGraph =>
  hosts.reduce((site, host, i) => siteWithHostAt(site, host, places[i] ?? ""), graph);

const singles = (graph: SiteGraph, hosts: readonly string[]): Move[] =>
  hosts.flatMap((host) => placesFor(graph, host).map((at) => ({ hosts: [host], places: [at] })));

const exchanges = (graph: SiteGraph, hosts: readonly string[]): Move[] =>
  hosts.flatMap((one, i) =>
    hosts.slice(i + 1).flatMap((other) => {
      const [at, otherAt] = [nodeAbove(graph, one), nodeAbove(graph, other)];
      return at === null || otherAt === null || at === otherAt ? [] : [{ hosts: [one, other], places: [otherAt, at] }];
    }),
  );
