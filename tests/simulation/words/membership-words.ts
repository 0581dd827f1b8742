import { each, ofStreams } from "./checks.ts";
import { LOSS_WORDS } from "./loss-words.ts";
import type { Observed } from "./observed.ts";
import { COUNT, first, ms, NAMES, namesIn, type PhraseBook, TIME } from "./phrase.ts";
import { STOP_WORDS } from "./stop-words.ts";

const watched = (
  list: string,
  { run }: Pick<Observed, "run">,
  isSo: (one: Observed["run"]["queriers"][number]) => boolean,
): string | null => {
  const wrong = namesIn(list).names.filter(
    (host) => !run.queriers.some((one) => one.host === host && one.canHear && isSo(one)),
  );
  return wrong.length === 0 ? null : `not so for ${wrong}`;
};
const ofProtocol = (one: Observed["run"]["queriers"][number], protocol: string) =>
  one.queriers.filter(({ family }) => (family === 4 ? "IGMP" : "MLD") === protocol);
/** As findings write an instant. */
const INSTANT = `(?:at ${TIME}|${TIME} before the run began)`;
const isAt = (text: string, atMs: number): boolean => {
  const told = text.startsWith("at ") ? ms(text.slice(3)) : -ms(text.replace(" before the run began", ""));
  return Math.abs(told - atMs) <= 60;
};
/** Of an IPv4 address in text. */
const numberOf = (text: string): number => text.split(".").reduce((sum, part) => 256 * sum + Number(part), 0);
const lasting = (one: Observed["run"]["queriers"][number]): string[] =>
  one.queriers.filter(({ queries }) => queries >= 2).map(({ address }) => address);

/** Why memberships end, and who asks for them. */
export const MEMBERSHIP_WORDS: PhraseBook = {
  isOfFamily: ({ kind }) =>
    ["ages-out", "leave-cuts-neighbour", "no-querier", "two-queriers", "wrong-querier"].includes(kind),
  titles: [
    {
      // Each of these hosts got packets, and none from so long after its last report (or join) on.
      says: new RegExp(
        `^(?<streams>${NAMES}) ran out at (?<hosts>${NAMES}) (?<least>${TIME}) (?:and more )?after (?<since>the last report|the join): the membership was not renewed$`,
      ),
      untrue: (part, finding, observed) => {
        const isKnown = part("since") === "the last report";
        const streams = namesIn(part("streams")).names;
        const reports = (host: string) =>
          observed.run.membership.filter(
            (one) =>
              one.kind === "report" &&
              one.host === host &&
              streams.some((stream) => observed.stream(stream).group === one.group),
          );
        return first(
          streams.some((stream) => !finding.streams.includes(stream)) && "other streams",
          each(part("hosts"), finding, observed, (one) => one.receivedPackets > 0),
          isKnown && namesIn(part("hosts")).names.some((host) => reports(host).length === 0) && "no report is known",
        );
      },
    },
    {
      says: new RegExp(
        `^(?<streams>${NAMES}) (?:comes and goes|come and go) at (?<hosts>${NAMES}), every (?<every>${TIME}): memberships seem to run out before the next query$`,
      ),
      untrue: (part, finding, observed) =>
        first(
          ofStreams(part("streams"), finding),
          each(part("hosts"), finding, observed, ({ lost }) => lost.length > 0),
        ),
    },
    {
      says: new RegExp(
        `^(?<streams>${NAMES}) ran out at (?<hosts>${NAMES}) for (?:up to )?${TIME}: the membership was not renewed in time, and the next report brought it back$`,
      ),
      untrue: (part, finding, observed) =>
        first(
          ofStreams(part("streams"), finding),
          each(part("hosts"), finding, observed, ({ lost, receivedPackets }) => lost.length > 0 && receivedPackets > 0),
        ),
    },
    {
      // That host left the groups of all these streams.
      says: new RegExp(
        `^(?<hosts>${NAMES}) behind the port (?<port>[^ ]+) lost (?<streams>${NAMES}) (?:${TIME} after|for (?:up to )?${TIME} when) (?<leaver>[^ ]+) behind the same port (?:had )?left it$`,
      ),
      untrue: (part, finding, observed) => {
        const left = (stream: string): boolean => {
          const { group } = observed.stream(stream);
          return (
            observed.run.membership.some(
              (one) => one.kind === "leave" && one.host === part("leaver") && one.group === group,
            ) ||
            observed.run.listeners.some(
              (one) =>
                one.host === part("leaver") && observed.stream(one.stream).group === group && one.joinedToMs !== null,
            )
          );
        };
        return first(
          ofStreams(part("streams"), finding),
          !finding.streams.every(left) && "it did not leave all of them",
          !(finding.suspects[0] ?? "").startsWith(`${part("port")}>`) && "another port than the first suspect",
          each(part("hosts"), finding, observed, ({ lost }) => lost.length > 0),
          finding.streams.some((stream) =>
            [part("leaver"), ...namesIn(part("hosts")).names].some(
              (host) =>
                observed.listeners(stream).some((one) => one.host === host) &&
                !observed.isBehind(stream, host, finding.suspects[0] ?? ""),
            ),
          ) && "not all lie behind it",
        );
      },
    },
    {
      says: new RegExp(
        `^No (?<protocol>IGMP|MLD) querier(?: in VLAN [0-9]+)?: (?<hosts>${NAMES}) heard no general query for (?<least>${TIME})$`,
      ),
      untrue: (part, _, observed) =>
        first(
          watched(
            part("hosts"),
            observed,
            (one) =>
              ofProtocol(one, part("protocol")).length === 0 &&
              one.watchedToMs - one.watchedFromMs > ms(part("least")) - 60,
          ),
        ),
    },
    {
      // That was the last query of all, and these hosts watched on.
      says: new RegExp(
        `^The (?<protocol>IGMP|MLD) querier(?: in VLAN [0-9]+)? fell silent: the last general query, from (?<address>[^ ]+), came (?<at>${INSTANT}), and (?<hosts>${NAMES}) heard none after it$`,
      ),
      untrue: (part, _, { run }) => {
        const all = run.queriers.filter(({ canHear }) => canHear).flatMap((one) => ofProtocol(one, part("protocol")));
        const last = all.find(({ address, lastMs }) => address === part("address") && isAt(part("at"), lastMs));
        return last === undefined
          ? "no such query"
          : watched(
              part("hosts"),
              { run },
              (one) =>
                one.watchedToMs > last.lastMs &&
                ofProtocol(one, part("protocol")).every(({ lastMs }) => lastMs <= last.lastMs + 60),
            );
      },
    },
    {
      // These queries went out of that host.
      says: new RegExp(
        `^(?<host>[^ ]+) asks as an (?<protocol>IGMP|MLD) querier(?: in VLAN [0-9]+)?: general queries from (?<address>[^ ]+) go out of it, (?:the first )?(?<first>${INSTANT})(?:, the last ${INSTANT})?$`,
      ),
      untrue: (part, _, observed) =>
        watched(part("host"), observed, (one) =>
          ofProtocol(one, part("protocol")).some(
            ({ address, isOwn, firstMs }) =>
              isOwn === true && address === part("address") && isAt(part("first"), firstMs),
          ),
        ),
    },
    {
      // Some host heard both, the one that took over at that time, and nothing of the other for a while after it.
      says: new RegExp(
        `^A second (?<protocol>IGMP|MLD) querier(?: in VLAN [0-9]+)?, (?<address>[^ ]+), took over from (?<silenced>[^ ]+): its first query came (?<first>${INSTANT}), and the lower address wins the election$`,
      ),
      untrue: (part, _, { run }) => {
        const isSo = run.queriers.some((one) => {
          const heard = ofProtocol(one, part("protocol"));
          const second = heard.find(
            ({ address, firstMs }) => address === part("address") && isAt(part("first"), firstMs),
          );
          const others = heard.filter(({ address }) => address === part("silenced"));
          const overlaps = others.filter(
            ({ firstMs, lastMs }) => firstMs < (second?.firstMs ?? 0) && lastMs > (second?.firstMs ?? 0) + 1_000,
          );
          return second !== undefined && others.length > 0 && overlaps.length === 0;
        });
        const isLower = numberOf(part("address")) < numberOf(part("silenced"));
        return first(!isSo && "nobody heard it so", !isLower && "its address is not lower");
      },
    },
    {
      says: /^Two queriers at once: (?<one>[^ ,]+) and (?<other>[^ ,]+) both ask, so queries of one do not reach the other$/,
      untrue: (part, _, { run }) => {
        const all = run.queriers.filter(({ canHear }) => canHear).flatMap(lasting);
        return all.includes(part("one")) && all.includes(part("other")) ? null : "not both do";
      },
    },
  ],
  evidence: [
    ...STOP_WORDS.evidence,
    ...LOSS_WORDS.evidence,
    {
      // No stretch of queries overlaps that time.
      says: new RegExp(
        `^(?<hosts>${NAMES}) heard no (?<protocols>IGMP query|MLD query|IGMP or MLD query|MLD or IGMP query) from ${TIME} after (?:the last report|the join) to the stop\\.$`,
      ),
      untrue: (part, { streams }, observed) => {
        const groups = streams.map((stream) => observed.stream(stream).group);
        const isAsSaid = groups.every((group) => part("protocols").includes(group.includes(":") ? "MLD" : "IGMP"));
        return first(
          !isAsSaid && "another family",
          watched(part("hosts"), observed, () => true),
        );
      },
    },
    {
      says: new RegExp(
        `^(?<hosts>${NAMES}) heard queries in that time, so a querier is there and its queries stop on the way\\.$`,
      ),
      untrue: (part, _, observed) => watched(part("hosts"), observed, ({ queriers }) => queriers.length > 0),
    },
    { says: /^No other host heard one in that time either\.$/, untrue: () => null },
    {
      says: new RegExp(
        `^Queries came to (?<hosts>${NAMES}), but (?<count>${COUNT}) hosts? sent no report after them\\.$`,
      ),
      untrue: (part, _, observed) => watched(part("hosts"), observed, ({ queriers }) => queriers.length > 0),
    },
    {
      says: new RegExp(
        `^The stop came ${TIME} after (?:the last report|the join), which fits the group membership interval of ${TIME}\\.$`,
      ),
      untrue: () => null,
    },
    {
      says: new RegExp(
        `^(?<host>[^ ]+) left at (?<at>${TIME})(?:; a switch has to ask the others behind the port before it closes it|, ${TIME} before the gap)\\.$`,
      ),
      untrue: (part, _, { run }) => {
        const near = (atMs: number | null): boolean => atMs !== null && Math.abs(atMs - ms(part("at"))) <= 60;
        const left =
          run.membership.some((one) => one.kind === "leave" && one.host === part("host") && near(one.atMs)) ||
          run.listeners.some((one) => one.host === part("host") && near(one.joinedToMs));
        return left ? null : "it did not";
      },
    },
    {
      says: new RegExp(`^(?<host>[^ ]+) listened for (?<time>${TIME}) and heard none\\.$`),
      untrue: (part, { title }, observed) =>
        watched(
          part("host"),
          observed,
          (one) =>
            ofProtocol(one, title.includes("MLD") ? "MLD" : "IGMP").length === 0 &&
            Math.abs(one.watchedToMs - one.watchedFromMs - ms(part("time"))) <= 60,
        ),
    },
    {
      says: new RegExp(
        `^(?<host>[^ ]+) heard the last one, from (?<address>[^ ]+), (?<at>${INSTANT}), and none in the (?<time>${TIME}) after it\\.$`,
      ),
      untrue: (part, { title }, observed) =>
        watched(part("host"), observed, (one) => {
          const heard = ofProtocol(one, title.includes("MLD") ? "MLD" : "IGMP");
          const lastMs = Math.max(...heard.map((querier) => querier.lastMs));
          return isAt(part("at"), lastMs) && Math.abs(one.watchedToMs - lastMs - ms(part("time"))) <= 60;
        }),
    },
    {
      says: new RegExp(
        `^(?<hosts>${NAMES}) heard (?<count>${COUNT}) quer(?:y|ies) from (?<address>[^ ]+), (?:the first )?(?<first>${INSTANT})(?:, the last (?<last>${INSTANT}))?\\.$`,
      ),
      untrue: (part, _, observed) =>
        watched(part("hosts"), observed, ({ queriers }) =>
          queriers.some(
            ({ address, queries, firstMs, lastMs }) =>
              address === part("address") &&
              queries === Number(part("count")) &&
              isAt(part("first"), firstMs) &&
              (part("last") === "" || isAt(part("last"), lastMs)),
          ),
        ),
    },
    {
      says: new RegExp(
        `^(?<address>[^ ]+) asked (?:every ${TIME} )?until then, last (?<last>${INSTANT}); it is silent for as long as it hears that one\\.$`,
      ),
      untrue: (part, _, { run }) =>
        run.queriers.some(({ queriers }) =>
          queriers.some(({ address, lastMs }) => address === part("address") && isAt(part("last"), lastMs)),
        )
          ? null
          : "nobody heard it so",
    },
    {
      says: new RegExp(`^It sits on none of (?<hosts>${NAMES}): its queries came in there\\.$`),
      untrue: (part, { title }, observed) =>
        watched(part("hosts"), observed, ({ queriers }) =>
          queriers.some(({ address, isOwn }) => title.includes(` ${address}`) && isOwn !== true),
        ),
    },
    {
      says: new RegExp(`^(?<hosts>${NAMES}) hears? only (?<address>[^ ]+) again and again\\.$`),
      untrue: (part, _, observed) =>
        watched(part("hosts"), observed, (one) => lasting(one).length === 1 && lasting(one)[0] === part("address")),
    },
    {
      says: new RegExp(
        `^(?<hosts>${NAMES}) heard queries from (?<one>[^ ]+) and (?<other>[^ ]+) at the same time; the one with the lower address should be alone\\.$`,
      ),
      untrue: (part, _, observed) =>
        watched(
          part("hosts"),
          observed,
          (one) => lasting(one).includes(part("one")) && lasting(one).includes(part("other")),
        ),
    },
  ],
};
