import { planPlace } from "@dyetrace/site";
import type { Observed } from "./observed.ts";
import {
  COUNT,
  first,
  isListOf,
  ms,
  NAMES,
  type NameList,
  namesIn,
  type Phrase,
  type PhraseBook,
  slackMs,
  TIME,
} from "./phrase.ts";
import { misplaced, PLACE } from "./place-words.ts";

const KINDS = ["stops", "group-specific", "source-specific", "rendezvous-point", "size-limited"];

/** Who got nothing: all of the time, after an instant, or in a part of the run. */
const NOTHING = `(?:(?<silent>${NAMES}) got (?<what>nothing|none of them)(?<when>(?: (?:after|from) ${TIME}(?:, the first of them after ${TIME}| to ${TIME})?| for a part of the run)?))`;
const GROUP = `${NAMES} got nothing of ${NAMES}(?: (?:after|from|for) [^;]*?)?`;
const GROUPS = `(?:(?<groups>${GROUP}; ${GROUP})|(?<each>${NAMES}) each got nothing of one stream or more(?: after ${TIME})?)`;
const REST = `(?<rest>, and everyone else got everything|, while (?<served>${NAMES}) did|, and nobody else reports on ${NAMES})?`;
const SILENCE = `(?:${NOTHING}|${GROUPS})${REST}`;

/**
 * "X got nothing": no packet of these streams came to X at all; "after T" and "from T to T": none of those sent then.
 * "and everyone else got everything": whoever else joined these streams reported, and lacks no number. "while Y did": Y got some
 * of it in that time. "nobody else reports on S": no other host that joined it sent a report.
 */
function untrueSilence(part: (name: string) => string, streams: readonly string[], observed: Observed): string | null {
  const groups = part("groups") === "" ? [] : part("groups").split("; ");
  for (const group of groups) {
    const [, hosts = "", of = "", when = ""] = GROUP_PARTS.exec(group) ?? [];
    const wrong = untrueNothing(namesIn(hosts).names, when, namesIn(of).names, observed);
    if (wrong !== null) return wrong;
  }
  const silent = groups.length > 0 ? silentOf(groups) : namesIn(part("silent") || part("each"));
  const when = part("when");
  const nothing = part("what") === "nothing" ? untrueNothing(silent.names, when, streams, observed) : null;
  return nothing ?? untrueRest(part, streams, observed, silent, spanOf(groups.join() + when, streams, observed));
}

const GROUP_PARTS = new RegExp(`^(${NAMES}) got nothing of (${NAMES})((?: .*)?)$`);

/** All hosts of several groups; each group may leave out some. */
function silentOf(groups: readonly string[]): NameList {
  const lists = groups.map((group) => namesIn(GROUP_PARTS.exec(group)?.[1] ?? ""));
  const names = [...new Set(lists.flatMap((list) => list.names))];
  return { names, count: names.length + lists.reduce((sum, list) => sum + list.count - list.names.length, 0) };
}

/** That none of these hosts got a packet of the streams then. */
export function untrueNothing(
  hosts: readonly string[],
  when: string,
  streams: readonly string[],
  observed: Observed,
): string | null {
  if (when.includes("part of the run")) return null;
  const [fromMs, toMs, slack] = spanOf(when, streams, observed);
  for (const host of hosts) {
    const entries = streams.flatMap((stream) => observed.of(stream, host));
    if (entries.length === 0) return `${host} reports on none of ${streams}`;
    for (const one of entries) {
      const came = observed.gotBetween(one, fromMs + slack, toMs - slack);
      if (came > 0) return `${host} got ${came} packets of ${one.stream} in that time`;
    }
  }
  return null;
}

function spanOf(when: string, streams: readonly string[], observed: Observed): [number, number, number] {
  const [from, to] = [...when.matchAll(new RegExp(TIME, "g"))].map(([time]) => time);
  const interval = Math.max(...streams.map((stream) => observed.intervalMs(stream)));
  if (from === undefined) return [Number.NEGATIVE_INFINITY, Number.POSITIVE_INFINITY, 0];
  const toMs = to === undefined || when.includes("first of them") ? Number.POSITIVE_INFINITY : ms(to);
  return [ms(from), toMs, slackMs(from, interval)];
}

function untrueRest(
  part: (name: string) => string,
  streams: readonly string[],
  observed: Observed,
  silent: NameList,
  [fromMs, toMs]: readonly [number, number, number],
): string | null {
  const rest = part("rest");
  if (rest.startsWith(", everyone else")) {
    const lacking = streams.flatMap((stream) =>
      observed.listeners(stream).filter((one) => {
        if (one.state === "no-report" || one.window === null) return true;
        // A join takes its time (RFC 3376, section 8.11), and so does a leave.
        const [settled, end] = [one.joinedFromMs + 2_000, (one.joinedToMs ?? Number.POSITIVE_INFINITY) - 250];
        return one.lost.some(([a, b]) => {
          const [first, last] = observed.sentBetween(stream, settled, end);
          return Math.max(a, first) <= Math.min(b, last);
        });
      }),
    );
    const hosts = new Set(lacking.map(({ host }) => host));
    for (const name of silent.names) hosts.delete(name);
    return hosts.size <= silent.count - silent.names.length ? null : `${[...hosts]} lack something or did not report`;
  }
  if (rest.startsWith(", while")) {
    const served = namesIn(part("served"));
    const got = (host: string): number =>
      streams
        .flatMap((stream) => observed.of(stream, host))
        .reduce((n, one) => n + observed.gotBetween(one, fromMs, toMs), 0);
    const dry = served.names.filter((host) => got(host) === 0);
    return dry.length === 0 ? null : `${dry} got nothing in that time either`;
  }
  if (rest.startsWith(", and nobody")) {
    const others = new Set(streams.flatMap((stream) => observed.reported(stream).map(({ host }) => host)));
    for (const name of silent.names) others.delete(name);
    return others.size <= silent.count - silent.names.length ? null : `${[...others]} report`;
  }
  return null;
}

const TITLES: readonly Phrase[] = [
  { what: `stops? ${PLACE}: ${SILENCE}` },
  { what: `alone stops? ${PLACE}; ${SILENCE}` },
  { what: `stops? ${PLACE}, which drops what (?<source>[^ ]+) sends and lets other sources through; ${SILENCE}` },
  { what: `: packets over ${COUNT} bytes of payload stop ${PLACE}; ${SILENCE}` },
  {
    what: `, joined without a source, stops? ${PLACE}, while what is joined with its source passes: no rendezvous point brings it on; ${SILENCE}`,
  },
].map(({ what }) => ({
  says: new RegExp(`^(?<streams>${NAMES})${what.startsWith(":") || what.startsWith(",") ? "" : " "}${what}$`),
  untrue: (part, finding, observed) =>
    first(
      !isListOf(part("streams"), finding.streams) && "other streams than the finding's",
      misplaced(part, finding),
      untrueSilence(part, finding.streams, observed),
    ),
}));

/** That all these hosts got packets of each of these streams in the time of some silence. */
function untrueServed(part: (name: string) => string, streams: readonly string[], observed: Observed): string | null {
  for (const host of namesIn(part("served")).names) {
    for (const stream of namesIn(part("of")).names) {
      if (!streams.includes(stream)) return `${stream} is not a stream of this finding`;
      if (!observed.of(stream, host).some((one) => countOf(observed.got(one)) > 0))
        return `${host} got nothing of ${stream}`;
    }
  }
  return null;
}

const countOf = (ranges: readonly (readonly [number, number])[]): number =>
  ranges.reduce((sum, [a, b]) => sum + b - a + 1, 0);

/** The groups are of a limited scope by their addresses: RFC 2365, and RFC 7346, section 2. */
export const SCOPED: Phrase = {
  says: new RegExp(
    `^(?<groups>${NAMES}) has a limited scope by its address: a router may be set up as the boundary of it, and forwards nothing of it then, whatever the TTL\\.$`,
  ),
  untrue: (part) =>
    namesIn(part("groups")).names.every((group) => group.startsWith("239.") || group.startsWith("ff"))
      ? null
      : "not all are",
};

/** Where the plan leaves several ways open, which of them the rest is about is not said. */
const EQUAL_ROUTES =
  "Several routes of equal cost lead there and the plan does not say which is taken, so the suspects on each of them are named.";

/** A trunk or switch is said without its VLAN where the sentence is of the plan's places. */
const isSuspect = (suspects: readonly string[], place: string): boolean => suspects.map(planPlace).includes(place);

const EVIDENCE: readonly Phrase[] = [
  SCOPED,
  { says: new RegExp(`^${EQUAL_ROUTES}$`), untrue: () => null },
  {
    // The source sends what the finding is about, and the host missed some of it.
    says: /^No packet tells by which routers (?<source>[^ ]+) reaches (?<host>[^ ]+): there is a way by .+, and one by .+\. The suspects are on ways that the plan's costs and the hop counts give\.$/,
    untrue: (part, { streams }, observed) => {
      const own = streams.filter((stream) => observed.stream(stream).source === part("source"));
      const entries = own.flatMap((stream) => observed.of(stream, part("host")));
      return entries.some(({ lost }) => lost.length > 0) ? null : "it missed nothing of that source";
    },
  },
  {
    // Of so many packets that were sent while it was joined, so many came.
    says: new RegExp(
      `^(?<host>[^ ,]+), (?<of>[^ :]+): (?<came>${COUNT}) of (?<sent>${COUNT}) packets?(?:, the last at (?<last>${TIME}))?$`,
    ),
    untrue: (part, { streams }, observed) => {
      const entries = observed.of(part("of"), part("host"));
      const [came, sent] = [Number(part("came")), Number(part("sent"))];
      if (!streams.includes(part("of"))) return "of another stream";
      const fits = entries.some((one) => came <= one.receivedPackets && came > 0 === one.receivedPackets > 0);
      return fits && came <= sent ? null : `received ${entries.map(({ receivedPackets }) => receivedPackets)}`;
    },
  },
  { says: new RegExp(`^and ${COUNT} more like these$`), untrue: () => null },
  {
    says: new RegExp(`^(?<source>[^ ]+) sent (?<sent>${COUNT}) packets? of (?<of>[^ ]+)$`),
    untrue: (part, _, observed) => {
      const { source, sentPackets } = observed.stream(part("of"));
      return source === part("source") && sentPackets === Number(part("sent")) ? null : `${source}: ${sentPackets}`;
    },
  },
  {
    says: /^(?<source>[^ ]+) did not report how much of (?<of>[^ ]+) it sent$/,
    untrue: (part, _, observed) => (observed.stream(part("of")).sentPackets === null ? null : "it did"),
  },
  {
    // No packet at all, or none after the time, came to anybody who reported.
    says: new RegExp(
      `^No listener that reported received anything of (?<of>${NAMES})(?: after (?<after>${TIME}))?, so the fault lies before the first branch\\.$`,
    ),
    untrue: (part, { streams }, observed) => {
      const after = part("after");
      const from = after === "" ? Number.NEGATIVE_INFINITY : ms(after) + slackMs(after, 20);
      const came = streams
        .flatMap((stream) => observed.reported(stream))
        .filter((one) => observed.gotBetween(one, from, Number.POSITIVE_INFINITY) > 0);
      return came.length === 0 ? null : `${came.map(({ host, stream }) => `${host} of ${stream}`)} did`;
    },
  },
  {
    // Packets of each of these streams came to each of these hosts.
    says: new RegExp(
      `^(?<served>${NAMES}) received (?<of>${NAMES}) meanwhile, which clears every segment on the way there\\.$`,
    ),
    untrue: (part, { streams }, observed) => untrueServed(part, streams, observed),
  },
  {
    says: new RegExp(`^What is silent here crosses (?<links>${NAMES}) alike, so no listener tells these apart\\.$`),
    untrue: (part, { streams, evidence }, observed) =>
      evidence.includes(EQUAL_ROUTES) ? null : crossing(namesIn(part("links")).names, streams, observed),
  },
  {
    says: new RegExp(
      `^(?<nodes>${NAMES}) would silence the same listeners as a link beside it; a source there would tell them apart\\.$`,
    ),
    untrue: (part, { suspects }, { graph }) =>
      namesIn(part("nodes")).names.every((node) => isSuspect(suspects, node) && graph.nodes.get(node)?.kind !== "host")
        ? null
        : "a host, or not suspect",
  },
  {
    says: new RegExp(`^A fault of (?<hosts>${NAMES}) itself would look the same\\.$`),
    untrue: (part, { suspects }, { graph }) =>
      namesIn(part("hosts")).names.every((node) => isSuspect(suspects, node) && graph.nodes.get(node)?.kind === "host")
        ? null
        : "no host, or not suspect",
  },
  {
    says: new RegExp(
      `^Membership reports travel the other way, on (?<links>${NAMES}): if they are lost there, the port before it forgets the group, which looks the same\\.$`,
    ),
    untrue: (part, { suspects }) =>
      namesIn(part("links")).names.every((link) => isSuspect(suspects, link)) ? null : "not suspect",
  },
  {
    says: /^Another set of as many faults explains the same silence; its members stand last among the suspects\.$/,
    untrue: () => null,
  },
  {
    says: /^One more agent beside (?<node>[^ ]+)(?: vlan [0-9]+)?, listening to the same, would tell these suspects apart best\.$/,
    untrue: (part, _, { graph }) => (graph.nodes.get(part("node"))?.kind === "host" ? "a host" : null),
  },
  {
    says: new RegExp(
      `^Packets of (?<small>${COUNT}) bytes of payload pass the same way, packets of (?<large>${COUNT}) bytes and more do not\\.$`,
    ),
    untrue: (part) => (Number(part("small")) < Number(part("large")) ? null : "the other way round"),
  },
  {
    // Somebody behind the place got packets of it.
    says: new RegExp(
      `^(?<passing>${NAMES}) comes? through the same place,? (?:so cable and port are good and the fault concerns this group|with smaller packets, so the fault concerns either this group or this size; the same size in both would tell)\\.$`,
    ),
    untrue: (part, finding, observed) => {
      const [chief = ""] = finding.suspects;
      for (const stream of namesIn(part("passing")).names) {
        if (finding.streams.includes(stream)) return `${stream} is silent itself`;
        const { group } = observed.stream(stream);
        const alike = observed.run.streams.filter((one) => one.group === group).map((one) => one.stream);
        const passed = alike.flatMap((one) => [
          ...observed.reported(one).filter((entry) => entry.receivedPackets > 0 || (entry.nicFrames ?? 0) > 0),
          ...observed.run.bystanders.filter((seen) => seen.stream === one && seen.frames > 0),
        ]);
        if (!passed.some((one) => observed.isBehind(one.stream, one.host, chief)))
          return `nobody behind ${chief} got ${stream}`;
      }
      return null;
    },
  },
  {
    says: new RegExp(
      `^(?<passing>${NAMES}) (?:is|are) joined with (?:its|their) source and comes? through the same place, so cables, ports and the route back to the source are good\\.$`,
    ),
    untrue: (part, _, observed) =>
      namesIn(part("passing")).names.every((stream) => observed.stream(stream).ssm) ? null : "not all are",
  },
  {
    says: /^Only one group was joined without a source here, so a filter on that group would look the same\.$/,
    untrue: () => null,
  },
  {
    says: /^Only what is joined with its source fails: see that querier, switches and routers all speak IGMPv3 and MLDv2\.$/,
    untrue: (_, { streams }, observed) =>
      streams.every((stream) => observed.stream(stream).ssm) ? null : "not all is",
  },
  {
    says: /^All that fails comes from one source, so the fault may as well concern the source: its route back, or a list\.$/,
    untrue: (_, { streams }, observed) =>
      new Set(streams.map((stream) => observed.stream(stream).source)).size === 1 ? null : "from several",
  },
  {
    says: /^Packets of another source come through the same place, so the fault concerns this source\.$/,
    untrue: () => null,
  },
  { says: /^Unicast from the same source/, untrue: () => null },
];

function crossing(links: readonly string[], streams: readonly string[], observed: Observed): string | null {
  // Whoever is silent is not said here: at least one host of these streams lies behind all of these links.
  const behindAll = streams.some((stream) =>
    observed.reported(stream).some(({ host }) => links.every((link) => observed.isBehind(stream, host, link))),
  );
  return behindAll ? null : `nobody lies behind all of ${links}`;
}

export const STOP_WORDS: PhraseBook = {
  isOfFamily: ({ kind }) => KINDS.includes(kind),
  titles: TITLES,
  evidence: EVIDENCE,
};
