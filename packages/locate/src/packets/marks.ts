import { isOnNode, placeNames } from "../cover/failure-element.ts";
import { type NamedFailure, smallestFailureSet } from "../cover/failure-set.ts";
import type { PathTrial } from "../cover/path-trial.ts";
import type { DiagnosisRule } from "../finding/diagnosis-rule.ts";
import type { Finding } from "../finding/finding.ts";
import { nameList, percent } from "../finding/wording.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";

/**
 * Packets that arrive, but changed on the way. Whoever gets them changed lies behind the place that changes them,
 * whoever gets them as sent does not: the same reasoning as for silence.
 */
interface MarkCase {
  readonly facts: readonly StreamFacts[];
  readonly changed: readonly PlacedReceipt[];
  readonly suspects: readonly string[];
}

interface MarkRule extends DiagnosisRule<MarkCase> {
  /** Null where the listener cannot tell. */
  readonly isChanged: (receipt: PlacedReceipt, facts: StreamFacts) => boolean | null;
}

const MOSTLY = 0.5;

const MARK_RULES: readonly MarkRule[] = [
  {
    kind: "converted-to-unicast",
    isChanged: ({ listener }) => (listener.unicastRatio === null ? null : listener.unicastRatio >= MOSTLY),
    when: () => true,
    title: ({ facts, changed, suspects }) =>
      `${streamsOf(facts)} reaches ${hosts(changed)} in unicast frames, converted on the way: by ${suspects.length > 2 ? "one of " : ""}${nameList(suspects)}`,
    evidence: ({ changed }) =>
      changed.map(
        (r) => `${r.listener.host}: ${percent(r.listener.unicastRatio ?? 0)} of the frames addressed to it alone`,
      ),
    advice:
      "On radio this is often wanted: it is acknowledged and faster. Mind that the load grows with every member, and that most makes stop converting beyond a number of members.",
    reference: "RFC 9119, section 4.4",
  },
  {
    kind: "dscp-rewritten",
    isChanged: ({ listener }, { stream }) =>
      listener.dscpSeen === null || stream.dscp === null ? null : listener.dscpSeen !== stream.dscp,
    when: () => true,
    title: ({ facts, changed }) =>
      `${streamsOf(facts)} was sent with DSCP ${facts[0]?.stream.dscp} and reaches ${hosts(changed)} with DSCP ${changed[0]?.listener.dscpSeen}`,
    evidence: ({ changed }) => changed.map((r) => `${r.listener.host} sees DSCP ${r.listener.dscpSeen}`),
    advice:
      "See which port does not trust the marking it receives, and whether the queue is still the one that was meant.",
    reference: "RFC 2474, section 3; RFC 2475, section 2.3",
  },
];

const streamsOf = (facts: readonly StreamFacts[]): string => nameList(facts.map((f) => f.stream.stream));
const hosts = (receipts: readonly PlacedReceipt[]): string => nameList(receipts.map((r) => r.listener.host));

export function findChangedPackets(site: SiteIndex, streams: readonly StreamFacts[]): Finding[] {
  return MARK_RULES.flatMap((rule) => {
    const byPlace = new Map<string, MarkCase>();
    for (const mark of streams.flatMap((facts) => changesOf(site, facts, rule))) {
      const key = mark.suspects.join(" ");
      const same = byPlace.get(key);
      const facts = [...(same?.facts ?? []), ...mark.facts];
      byPlace.set(key, { ...mark, facts, changed: [...(same?.changed ?? []), ...mark.changed] });
    }
    return [...byPlace.values()].map((mark) => markFinding(rule, mark));
  });
}

function markFinding(rule: MarkRule, mark: MarkCase): Finding {
  return {
    kind: rule.kind,
    streams: mark.facts.map((f) => f.stream.stream),
    suspects: mark.suspects,
    confidence: 0.9,
    title: rule.title(mark),
    evidence: [...new Set(rule.evidence?.(mark) ?? [])],
    advice: rule.advice,
    reference: rule.reference,
  };
}

function changesOf(site: SiteIndex, facts: StreamFacts, rule: MarkRule): MarkCase[] {
  if (!facts.receipts.some((receipt) => rule.isChanged(receipt, facts) === true)) return [];
  const told = facts.receipts
    .filter((receipt) => receipt.listener.receivedPackets > 0)
    .map((receipt) => ({ receipt, isChanged: rule.isChanged(receipt, facts) }));
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
    return { facts: [facts], changed, suspects: changers(site, failure) };
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
  return [...new Set(places.map(({ name }) => name))];
}
