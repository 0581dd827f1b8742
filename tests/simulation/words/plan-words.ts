import { each } from "./checks.ts";
import { COUNT, NAMES, type PhraseBook } from "./phrase.ts";

export const PLAN_WORDS: PhraseBook = {
  isOfFamily: ({ kind }) => kind === "plan-mismatch",
  titles: [
    {
      says: /^(?<host>[^ ]+) and (?<other>[^ ]+) seem to sit in each other's place: (?<first>[^ ]+) at (?<place>.+), (?<second>[^ ]+) at (?<planned>.+)$/,
      untrue: (part, _, { graph }) => {
        const planned = (host: string): string | undefined => graph.outgoing.get(host)?.[0]?.to.node;
        const [host, other] = [part("host"), part("other")];
        if (part("first") !== host || part("second") !== other) return "other hosts";
        return planned(host) === part("planned") && planned(other) === part("place") ? null : "planned elsewhere";
      },
    },
    {
      // The plan has it elsewhere than at each of the places that fit.
      says: /^(?<host>[^ ]+) seems to sit (?:at .+, not at (?<planned>[^ ]+)|elsewhere than at (?<place>[^ ]+), or its report is wrong)$/,
      untrue: (part, _, { graph }) => (graph.nodes.get(part("host"))?.kind === "host" ? null : "no host"),
    },
    {
      says: /^The report of (?<host>[^ ]+) does not fit those of the others, wherever it sits$/,
      untrue: (part, _, { graph }) => (graph.nodes.get(part("host"))?.kind === "host" ? null : "no host"),
    },
    {
      says: new RegExp(
        `^(?<hosts>${NAMES}) miss the same packets of (?<stream>[^ ]+), but in the plan no place is on the way to them alone$`,
      ),
      untrue: (part, finding, observed) => each(part("hosts"), finding, observed, ({ lost }) => lost.length > 0),
    },
    {
      says: new RegExp(
        `^The plan and the way of (?<stream>[^ ]+) to (?<hosts>${NAMES}) do not agree on the routers in between$`,
      ),
      untrue: (part, finding, observed) => each(part("hosts"), finding, observed, ({ ttlSeen }) => ttlSeen !== null),
    },
    {
      // The source is that of the finding's streams, and by the TTL packets passed so many routers on the way to each host.
      says: new RegExp(
        `^What (?<source>[^ ]+) sends comes to (?<hosts>${NAMES}) another way than the plan's: by the TTL it passed (?<counts>.+)$`,
      ),
      untrue: (part, finding, observed) => {
        if (finding.streams.some((stream) => observed.stream(stream).source !== part("source")))
          return "another source";
        const told = [...part("counts").matchAll(/(-?[0-9]+) routers? instead of/g)].map(([, passed]) =>
          Number(passed),
        );
        return each(part("hosts"), finding, observed, ({ stream, ttlSeen }) => {
          const { ttl } = observed.stream(stream);
          return ttl !== null && ttlSeen !== null && told.includes(ttl - ttlSeen);
        });
      },
    },
    {
      says: new RegExp(`^(?<hosts>${NAMES}) received (?<stream>[^ ]+), but no way leads there in the plan$`),
      untrue: (part, finding, observed) => each(part("hosts"), finding, observed, (one) => one.receivedPackets > 0),
    },
  ],
  evidence: [
    {
      says: new RegExp(`^(?<host>[^ ]+): -?${COUNT} routers? passed by the TTL, ${COUNT} in the plan$`),
      untrue: (part, finding, observed) => each(part("host"), finding, observed, ({ ttlSeen }) => ttlSeen !== null),
    },
    {
      says: /^A packet cannot come where no link leads: a link or a node is missing in the plan\.$/,
      untrue: () => null,
    },
  ],
};
