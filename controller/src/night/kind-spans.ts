import { getOrAdd } from "../account/get-or-add.ts";
import type { Episode } from "../store/pack/kept-report.ts";
import type { IncidentKind } from "./incident-kinds.ts";
import { TOGETHER_NS } from "./together.ts";

/**
 * Of which kinds the incidents of several hosts are one where they begin and end within this: hosts report each second, and come
 * back from an absence one after the other. Null: each host's are its own.
 */
const SAME_SPAN_NS: Partial<Record<IncidentKind, number | null>> = {
  "host-loss": null,
  source: null,
  link: 0.1e9,
  away: 1.5e9,
  restart: 0.1e9,
  duplicates: 1.5e9,
  reordered: 1.5e9,
};

/**
 * Whoever stands behind the place that makes copies gets the same ones. So two hosts of one place have as many in each report;
 * but for packets that came as reports were cut, of which clocks and ways have this much on one side of the cut or the other.
 */
const SAME_PACKETS: ReadonlySet<IncidentKind> = new Set<IncidentKind>(["duplicates", "reordered"]);
const AT_CUT_NS = 50e6;
const AT_CUT_PACKETS = 2;

/** Kinds that are told by their own beginning and end, whatever else goes on meanwhile. */
export const hasOwnSpan = (kind: IncidentKind): boolean => SAME_SPAN_NS[kind] !== undefined;

interface Span {
  readonly agent: string;
  readonly fromNs: number;
  toNs: number;
  readonly members: Episode[];
}

/** Episodes of one kind as incidents: what follows at one host is one, and of several hosts what begins and ends alike. Pure. */
export function ownSpans(kind: IncidentKind, episodes: readonly Episode[]): Episode[][] {
  const spans = spansByHost(episodes);
  const slackNs = SAME_SPAN_NS[kind] ?? null;
  if (slackNs === null) return spans.map(({ members }) => members);
  const groups: Span[][] = [];
  for (const span of spans.toSorted((a, b) => a.fromNs - b.fromNs)) {
    const near = groups.slice(-MOST_OPEN);
    const same = near.find(
      ([first]) =>
        first !== undefined &&
        isAlike(first, span, slackNs) &&
        !(SAME_PACKETS.has(kind) && (hasOwnPackets(first, span) || hasOwnPackets(span, first))),
    );
    if (same === undefined) groups.push([span]);
    else same.push(span);
  }
  return groups.map((group) => group.flatMap(({ members }) => members));
}

/** Groups that began last are looked at: a bound of effort. */
const MOST_OPEN = 200;

const isAlike = (a: Span, b: Span, slackNs: number): boolean =>
  Math.abs(a.fromNs - b.fromNs) <= slackNs && Math.abs(a.toNs - b.toNs) <= slackNs;

/** @returns whether one host had packets of that kind in reports before the other had any, or after */
function hasOwnPackets({ fromNs, toNs, members }: Span, other: Span): boolean {
  const countOf = (episodes: readonly Episode[]): number => episodes.reduce((sum, { count }) => sum + count, 0);
  const own = countOf(members.filter((one) => one.toNs <= other.fromNs || one.fromNs >= other.toNs));
  return own > Math.max(AT_CUT_PACKETS, (countOf(members) * AT_CUT_NS) / (toNs - fromNs));
}

function spansByHost(episodes: readonly Episode[]): Span[] {
  const open = new Map<string, Span[]>();
  for (const one of episodes.toSorted((a, b) => a.fromNs - b.fromNs)) {
    const spans = getOrAdd(open, one.agent, () => []);
    const last = spans.at(-1);
    if (last === undefined || one.fromNs > last.toNs + TOGETHER_NS) {
      spans.push({ agent: one.agent, fromNs: one.fromNs, toNs: one.toNs, members: [one] });
      continue;
    }
    last.toNs = Math.max(last.toNs, one.toNs);
    last.members.push(one);
  }
  return [...open.values()].flat();
}
