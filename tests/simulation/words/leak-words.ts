import { layer2Domain, planPlace } from "@dyetrace/site";
import type { Finding } from "../../../packages/locate/src/finding/finding.ts";
import type { Observed } from "./observed.ts";
import {
  COUNT,
  first,
  isListOf,
  ms,
  NAMES,
  namesIn,
  type Parts,
  type Phrase,
  type PhraseBook,
  slackMs,
  TIME,
} from "./phrase.ts";
import { misplaced, PLACE } from "./place-words.ts";

const OUT = "out of (?:several ports of )?(?<out>[^ :,]+(?::[^ ,:]+)?)(?: in VLAN [0-9]+)?";
const LEAKS = `(?<streams>${NAMES}) leaks? `;

/** The port or node is the first suspect's. */
function isElsewhere(out: string, { suspects: [chief = ""] }: Finding): string | null {
  return planPlace(chief) === out || chief.startsWith(`${out}>`) ? null : `${out} is not the first suspect`;
}

/** Each of these hosts saw frames of one of the streams, and was no member for all of that time. */
function haveSeen(list: string, { streams }: Finding, observed: Observed): string | null {
  for (const host of namesIn(list).names) {
    const seen = observed.run.bystanders.filter(
      (one) => one.host === host && streams.includes(one.stream) && one.frames > 0,
    );
    if (seen.length === 0) return `${host} saw nothing of it`;
    if (seen.every((one) => isAlwaysMember(observed, one.stream, host, one.firstMs ?? 0, one.lastMs ?? 0)))
      return `${host} was a member all the time`;
  }
  return null;
}

const isAlwaysMember = (observed: Observed, stream: string, host: string, fromMs: number, toMs: number): boolean =>
  observed.run.listeners.some(
    (one) =>
      one.host === host &&
      observed.stream(one.stream).group === observed.stream(stream).group &&
      one.joinedFromMs <= fromMs &&
      (one.joinedToMs ?? Number.POSITIVE_INFINITY) >= toMs,
  );

const leaking: Phrase["untrue"] = (part, finding, observed) =>
  first(
    !isListOf(part("streams"), finding.streams) && "other streams than the finding's",
    isElsewhere(part("out"), finding),
    haveSeen(part("hosts"), finding, observed),
  );

const TITLES: readonly Phrase[] = [
  // Frames of these streams came to hosts that were no members, by way of the first suspect.
  {
    says: new RegExp(
      `^${LEAKS}${OUT}(?: since memberships timed out)?: (?<hosts>${NAMES}) saw it without being a member$`,
    ),
    untrue: leaking,
  },
  {
    says: new RegExp(`^${LEAKS}now and then ${OUT}: (?<hosts>${NAMES}) saw it without being a member$`),
    untrue: leaking,
  },
  {
    // And behind that port nobody was ever a member.
    says: new RegExp(`^${LEAKS}${OUT} where nobody has joined it: (?<hosts>${NAMES}) saw it without being a member$`),
    untrue: leaking,
  },
  {
    says: new RegExp(
      `^(?<chief>[^ ]+) may (?:be a member|have a querier or router) that the plan does not know: ${LEAKS}${OUT}, and (?<hosts>${NAMES}) saw it without being a member$`,
    ),
    untrue: (part, finding, observed) =>
      first(
        part("chief") !== finding.suspects[0] && "not the first suspect",
        haveSeen(part("hosts"), finding, observed),
      ),
  },
  {
    // The longest tail after any of these leaves.
    says: new RegExp(
      `^(?<streams>${NAMES}) kept coming to (?<hosts>${NAMES}) for (?<most>(?:up to )?${TIME}) after the leave, through (?<out>[^ ]+)(?: in VLAN [0-9]+)?$`,
    ),
    untrue: (part, finding, observed) => first(untrueTail(part, finding, observed), isElsewhere(part("out"), finding)),
  },
  {
    says: new RegExp(
      `^(?<streams>${NAMES}) kept coming to (?<hosts>${NAMES}) for (?<most>(?:up to )?${TIME}) after (?:it|they) had left without a word$`,
    ),
    untrue: (part, finding, observed) => {
      const groups = finding.streams.map((stream) => observed.stream(stream).group);
      const said = namesIn(part("hosts")).names.filter((host) =>
        observed.run.listeners.some(
          ({ host: own, joinedToMs, stream }) =>
            own === host &&
            finding.streams.includes(stream) &&
            joinedToMs !== null &&
            observed.run.membership.some(
              (one) =>
                one.kind === "leave" &&
                one.host === host &&
                groups.includes(one.group) &&
                Math.abs(one.atMs - joinedToMs) < 1_000,
            ),
        ),
      );
      return first(untrueTail(part, finding, observed), said.length > 0 && `${said} said so`);
    },
  },
  {
    says: new RegExp(
      `^(?<streams>${NAMES}) kept coming to (?<hosts>${NAMES}) for (?<most>(?:up to )?${TIME}) after the leave: nobody asked there for further members, so the leave was lost on its way to the querier, or the question on its way back$`,
    ),
    untrue: (part, finding, observed) =>
      first(untrueTail(part, finding, observed), observed.run.groupQueries === undefined && "nobody listened"),
  },
  {
    says: new RegExp(
      `^(?:IGMP|MLD) queries stop ${PLACE}: none came to (?<hosts>${NAMES}) (?:from the first packet to|in the last (?<quiet>[0-9.]+ s) before) the first frame there, and ${LEAKS}${OUT}$`,
    ),
    untrue: (part, finding, observed) =>
      first(
        misplaced(part, finding),
        haveSeen(part("hosts"), finding, observed),
        unheard(part("hosts"), finding, observed, part("quiet")),
      ),
  },
  {
    says: new RegExp(
      `^The group table of (?<out>[^ ]+) gives out between ${COUNT} and ${COUNT} groups?: from then on it floods all of them, and (?<hosts>${NAMES}) sees? groups without being a member$`,
    ),
    untrue: (part, finding, observed) =>
      first(isElsewhere(part("out"), finding), haveSeen(part("hosts"), finding, observed)),
  },
];

/** Somebody named never left, or no tail is as long as said. */
function untrueTail(part: Parts, finding: Finding, observed: Observed): string | null {
  const most = part("most").replace("up to ", "");
  const left = namesIn(part("hosts")).names.filter((host) =>
    finding.streams.every((stream) =>
      observed.listeners(stream).every((one) => one.host !== host || one.joinedToMs === null),
    ),
  );
  const tails = observed.run.bystanders
    .filter(({ stream }) => finding.streams.includes(stream))
    .flatMap(({ stream, host, lastMs }) =>
      observed
        .listeners(stream)
        .filter((one) => one.host === host)
        .map(({ joinedToMs }) => (lastMs ?? 0) - (joinedToMs ?? 0)),
    );
  return first(
    left.length > 0 && `${left} never left`,
    !tails.some((tail) => Math.abs(tail - ms(most)) <= slackMs(most, 20)) && `tails of ${tails}`,
  );
}

/**
 * Each watched, and heard no query between the first packet of one of the streams and its first frame.
 * @param quiet only so long before the first frame; empty: all the time
 */
function unheard(list: string, { streams }: Finding, observed: Observed, quiet: string): string | null {
  for (const host of namesIn(list).names) {
    const own = observed.run.queriers.find((one) => one.host === host && one.canHear);
    if (own === undefined) return `${host} did not watch for queries`;
    const seen = observed.run.bystanders.filter(
      (one) => one.host === host && streams.includes(one.stream) && one.frames > 0,
    );
    const heard = seen.filter(({ stream, firstMs }) => {
      const { firstSentMs, group } = observed.stream(stream);
      const fromMs = quiet === "" ? (firstSentMs ?? 0) : (firstMs ?? 0) - ms(quiet) + slackMs(quiet, 20);
      const ofFamily = own.queriers.filter(({ family }) => (family === 6) === group.includes(":"));
      return ofFamily.some((q) => q.lastMs > fromMs && q.firstMs < (firstMs ?? 0));
    });
    if (heard.length > 0) return `${host} heard one`;
  }
  return null;
}

const EVIDENCE: readonly Phrase[] = [
  {
    says: /^A switch that hears no query lets memberships run out or takes it that there is no querier, and many then flood\.$/,
    untrue: () => null,
  },
  {
    says: new RegExp(
      `^(?<host>[^ ]+) saw (?<frames>${COUNT}) frames? of (?<of>[^ ]+?)(?: from (?<from>${TIME}))?(?: to (?<to>${TIME}))?\\.$`,
    ),
    untrue: (part, { streams }, { run }) =>
      streams.includes(part("of")) &&
      run.bystanders.some(
        (one) => one.stream === part("of") && one.host === part("host") && one.frames === Number(part("frames")),
      )
        ? null
        : "nobody did",
  },
  {
    says: /^A leave takes effect after the last member query time, here [0-9.]+ s; a membership that nobody ends lasts [0-9.]+ s\.$/,
    untrue: () => null,
  },
  {
    says: new RegExp(
      `^(?<hosts>${NAMES}) heard no (?:IGMP|MLD) query (?:between the first packet and|in the (?<quiet>[0-9.]+ s) before) the first frame that came there\\.$`,
    ),
    untrue: (part, finding, observed) => unheard(part("hosts"), finding, observed, part("quiet")),
  },
  {
    // Behind each there is nobody who ever joined one of the streams.
    says: /^(?:Every one of these ports|(?<one>[^ ]+)) forwarded it although no member, router or querier lies behind(?:: (?<ports>.+))?\.$/,
    untrue: (part, { streams }, observed) => {
      for (const port of part("one") === "" ? part("ports").split(", ") : [part("one")]) {
        const wanted = streams.filter((stream) =>
          observed.listeners(stream).some(({ host }) => observed.isBehind(stream, host, port)),
        );
        if (wanted.length === streams.length) return `members of ${wanted} lie behind ${port}`;
      }
      return null;
    },
  },
  {
    says: /^No bystander watches another closed port of (?<node>[^ ]+), so its other ports may leak as well\.$/,
    untrue: () => null,
  },
  {
    says: /^A bystander behind another closed port of (?<node>[^ ]+) saw nothing\.$/,
    untrue: (part, { streams }, observed) =>
      observed.run.bystanders.some(
        ({ stream, host, frames, canSee }) =>
          streams.includes(stream) && canSee && frames === 0 && observed.isBehind(stream, host, part("node")),
      )
        ? null
        : "nobody quiet is behind it",
  },
  {
    says: /^Other groups leak there as well, which speaks for snooping being off\.$/,
    untrue: (_, { streams }, observed) =>
      new Set(streams.map((stream) => observed.stream(stream).group)).size > 1 ? null : "one group",
  },
  {
    says: /^Other groups do not leak there, which speaks for a full table, a static entry or a shared MAC address\.$/,
    untrue: () => null,
  },
  {
    says: /^A program on (?<name>[^ ]+) that joined the group would explain it without any fault\.$/,
    untrue: (part, { streams, suspects }, { run }) => {
      const sureNot = run.bystanders.some(
        (one) =>
          one.host === part("name") &&
          streams.includes(one.stream) &&
          one.frames > 0 &&
          one.isGroupUsedByHost === false,
      );
      return first(!suspects.includes(part("name")) && "no suspect", sureNot && "its agent says that no program did");
    },
  },
  {
    says: /^A querier or router at (?<name>[^ ]+) that the plan does not know would explain it without any fault\.$/,
    untrue: (part, { suspects }) => (suspects.includes(part("name")) ? null : "no suspect"),
  },
  {
    // No member of any of the groups in the domain, in the time that frames were seen.
    says: /^(?<nobody>No host|Hosts) in this layer-2 domain (?:was a member of the group meanwhile|were members of the group for 2 s of that time at most); many switches flood such unregistered groups by default\.$/,
    untrue: (part, { suspects, streams }, observed) => {
      const node = planPlace(suspects[0] ?? "").split(":")[0] ?? "";
      const domain = layer2Domain(observed.graph, node);
      const settlingMs = part("nobody") === "No host" ? 0 : 2_000;
      for (const { stream, frames, firstMs, lastMs } of observed.run.bystanders) {
        if (!streams.includes(stream) || frames === 0 || firstMs === null || lastMs === null) continue;
        const members = [...domain].filter((host) =>
          observed.isMember(stream, host, firstMs + settlingMs, lastMs - settlingMs),
        );
        // Frames of members' own times are no part of the finding.
        if (members.length > 0 && suspects.length > 0 && isSighting(observed, stream, suspects))
          return `${members} were, of ${stream}`;
      }
      return null;
    },
  },
  {
    says: new RegExp(
      `^${COUNT} groups had been flowing without a leak; all of them leak from ${TIME} on, as group number ${COUNT} of this run was joined\\.$`,
    ),
    untrue: () => null,
  },
  { says: /^Groups of others that the switch holds as well take room in the same table\.$/, untrue: () => null },
];

/** One bystander alone saw this stream, so its time is the leak's. */
const isSighting = (observed: Observed, stream: string, suspects: readonly string[]): boolean => {
  const saw = observed.run.bystanders.filter((one) => one.stream === stream && one.frames > 0);
  return saw.length === 1 && saw.every(({ host }) => observed.isBehind(stream, host, suspects[0] ?? ""));
};

export const LEAK_WORDS: PhraseBook = {
  isOfFamily: ({ kind }) => kind === "leaks" || kind === "slow-leave",
  titles: TITLES,
  evidence: EVIDENCE,
};
