import { isOnNode, placeNames } from "../cover/failure-element.ts";
import { type NamedFailure, smallestFailureSet } from "../cover/failure-set.ts";
import type { PathTrial } from "../cover/path-trial.ts";
import type { Finding } from "../finding/finding.ts";
import { type FindingRule, findingsOf, rowsOf } from "../finding/finding-row.ts";
import { nameList, percent, verb } from "../finding/wording.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";

/**
 * Packets that arrive, but changed on the way. Whoever gets them changed lies behind the place that changes them,
 * whoever gets them as sent does not: the same reasoning as for silence.
 */
interface ChangeCase {
  readonly change: Change;
  readonly facts: readonly StreamFacts[];
  readonly changed: readonly PlacedReceipt[];
  readonly suspects: readonly string[];
}

type Change = "to-unicast" | "dscp";

/** From this share of unicast frames on. Common practice, no source. */
const MOSTLY = 0.5;

/** Whether a listener got packets changed; null where it cannot tell. */
const IS_CHANGED: Readonly<Record<Change, (receipt: PlacedReceipt, facts: StreamFacts) => boolean | null>> = {
  "to-unicast": ({ listener }) => (listener.unicastRatio === null ? null : listener.unicastRatio >= MOSTLY),
  dscp: ({ listener }, { stream }) =>
    listener.dscpSeen === null || stream.dscp === null ? null : listener.dscpSeen !== stream.dscp,
};

const row = rowsOf<ChangeCase>({
  streams: ({ facts }) => facts.map(({ stream }) => stream.stream),
  suspects: ({ suspects }) => suspects,
});

const streamsOf = ({ facts }: ChangeCase): string => nameList(facts.map((f) => f.stream.stream));
const hostsOf = ({ changed }: ChangeCase): string => nameList(changed.map((r) => r.listener.host));

const reach = ({ facts }: ChangeCase): string =>
  verb(
    facts.map((one) => one.stream.stream),
    "reach",
  ).replace("reachs", "reaches");
const converters = ({ suspects }: ChangeCase): string => {
  if (suspects.length === 0) return "";
  return `, converted on the way: by ${suspects.length > 1 ? "one of " : ""}${nameList(suspects)}`;
};
const dscpsSent = ({ facts }: ChangeCase): string => nameList(facts.map(({ stream }) => `${stream.dscp}`));
const dscpsSeen = ({ changed }: ChangeCase): string => nameList(changed.map(({ listener }) => `${listener.dscpSeen}`));

const ROWS: readonly FindingRule<ChangeCase>[] = [
  row({
    kind: "converted-to-unicast",
    match: (one) => (one.change === "to-unicast" ? one : null),
    title: (one) => `${streamsOf(one)} ${reach(one)} ${hostsOf(one)} in unicast frames${converters(one)}`,
    evidence: ({ changed }) =>
      distinct(
        changed.map(
          ({ listener }) =>
            `${listener.host}: ${percent(listener.unicastRatio ?? 0)} of the frames addressed to it alone`,
        ),
      ),
    advice:
      "On radio this is often wanted: it is acknowledged and faster. Mind that the load grows with every member, and that most makes stop converting beyond a number of members.",
    reference: "RFC 9119, section 4.4",
  }),
  row({
    kind: "dscp-rewritten",
    match: (one) => (one.change === "dscp" ? one : null),
    title: (one) =>
      `${streamsOf(one)} ${one.facts.length === 1 ? "was" : "were"} sent with DSCP ${dscpsSent(one)} and ${reach(one)} ${hostsOf(one)} with DSCP ${dscpsSeen(one)}`,
    evidence: ({ changed }) =>
      distinct(changed.map(({ listener }) => `${listener.host} sees DSCP ${listener.dscpSeen}`)),
    advice:
      "See which port does not trust the marking it receives, and whether the queue is still the one that was meant.",
    reference: "RFC 2474, section 3; RFC 2475, section 2.3",
  }),
];

/** Streams that the same place changes make one finding. */
export function findChangedPackets(site: SiteIndex, streams: readonly StreamFacts[]): Finding[] {
  return (["to-unicast", "dscp"] as const).flatMap((change) => {
    const byPlace = new Map<string, ChangeCase>();
    for (const one of streams.flatMap((facts) => changesOf(site, facts, change))) {
      const key = one.suspects.join(" ");
      const same = byPlace.get(key);
      const facts = [...(same?.facts ?? []), ...one.facts];
      byPlace.set(key, { ...one, facts, changed: [...(same?.changed ?? []), ...one.changed] });
    }
    return findingsOf(ROWS, [...byPlace.values()]);
  });
}

function changesOf(site: SiteIndex, facts: StreamFacts, change: Change): ChangeCase[] {
  const isChanged = IS_CHANGED[change];
  if (!facts.receipts.some((receipt) => isChanged(receipt, facts) === true)) return [];
  const told = facts.receipts
    .filter((receipt) => receipt.listener.receivedPackets > 0)
    .map((receipt) => ({ receipt, isChanged: isChanged(receipt, facts) }));
  if (!told.some(({ isChanged }) => isChanged === true)) return [];
  const span = { startMs: 0, endMs: 1 };
  const trial: PathTrial = {
    tree: facts.tree,
    groupKey: facts.groupKey,
    payloadBytes: 0,
    members: null,
    outcomes: told.flatMap(({ receipt, isChanged }) =>
      isChanged === null
        ? []
        : { leaf: receipt.node, good: isChanged ? null : span, bad: isChanged ? span : null, marginMs: 0 },
    ),
  };
  return smallestFailureSet(site, [trial]).failures.map((failure) => {
    const leaves = new Set(failure.pairs.map((pair) => pair.outcome.leaf));
    const changed = told.filter(({ receipt }) => leaves.has(receipt.node)).map(({ receipt }) => receipt);
    return { change, facts: [facts], changed, suspects: changers(site, failure) };
  });
}

/** Only what forwards can change a frame: access points first, then the ports and nodes in the order of the path. */
function changers(site: SiteIndex, failure: NamedFailure): string[] {
  const isForwarding = (name: string): boolean => (site.graph.nodes.get(name)?.kind ?? "host") !== "host";
  const isRadio = (name: string): boolean => site.graph.nodes.get(name)?.kind === "access-point";
  const places = failure.elements
    .map((element) => {
      const [name = ""] = placeNames(site, element);
      return { name, node: isOnNode(element.kind) ? name : (site.segments[element.place]?.from.node ?? "") };
    })
    .filter(({ node }) => isForwarding(node));
  places.sort((a, b) => Number(isRadio(b.node)) - Number(isRadio(a.node)));
  return distinct(places.map(({ name }) => name));
}

const distinct = <T>(items: readonly T[]): T[] => [...new Set(items)];
