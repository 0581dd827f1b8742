import { type LinkSegment, planPlace } from "@dyetrace/site";
import type { Finding } from "../finding/finding.ts";
import { suspectPhrase } from "../finding/place-wording.ts";
import { familyOf } from "../run/address-family.ts";
import type { PlacedReceipt } from "../run/clean-receipt.ts";
import type { MembershipTimers, RunObservations } from "../run/run-observations.ts";
import type { StreamFacts } from "../run/stream-facts.ts";
import type { SiteIndex } from "../site/site-index.ts";
import { adviceByTables } from "./advice-by-tables.ts";
import { confidenceByDevices } from "./confidence-by-devices.ts";
import { countedWithoutReceipt } from "./counted-without-receipt.ts";
import { countersThatLackFrames } from "./counters-that-lack-frames.ts";
import { deviceSentences } from "./device-sentences.ts";
import { DeviceView } from "./device-view.ts";
import { type Disagreement, disagreementFindings, trustedDevices, unfit } from "./disagreement.ts";
import { OF_THE_WAY } from "./findings-of-the-way.ts";
import type { CountedPath } from "./path-cuts.ts";
import { type DeviceWitness, deviceWitness, elsewhereLog, likeliestLog, suspectLog } from "./suspect-weights.ts";
import { tablesThatLackPorts } from "./tables-that-lack-ports.ts";

/** A suspect goes that is so many times less likely than the likeliest. Our choice, no source. */
const LEAST_LOG = Math.log(300);
/**
 * Holds each finding against what devices counted and had in their tables: suspects that this rules out go, and the evidence says
 * why. Where devices say what agents know to be wrong, they are not believed, and a finding of its own tells it. Without a reading
 * all stays as it was.
 */
export function weighByDevices(
  site: SiteIndex,
  observations: RunObservations,
  streams: readonly StreamFacts[],
  findings: readonly Finding[],
): readonly Finding[] {
  const { devices = [] } = observations;
  if (devices.length === 0) return findings;
  const told = new DeviceView(devices);
  const contradicted = [...countersThatLackFrames(site, told, streams), ...tablesThatLackPorts(site, told, streams)];
  const view = new DeviceView(trustedDevices(devices, contradicted));
  const timersOf = (group: string): MembershipTimers =>
    familyOf(group) === 6 ? (observations.mldTimers ?? observations.timers) : observations.timers;
  const disagreements: Disagreement[] = [...contradicted];
  const weighed = findings.map((finding) => {
    if (!OF_THE_WAY.has(finding.kind) || finding.suspects.length === 0) return finding;
    const witnesses = witnessesOf(site, view, streams, finding, timersOf);
    if (witnesses.length === 0) return finding;
    const result = weighOne(site, finding, witnesses);
    disagreements.push(...result.disagreements);
    return result.finding;
  });
  return [...weighed, ...disagreementFindings(disagreements)];
}

/** One for each host that the finding is about; of a host's streams those that go the same way together. */
function witnessesOf(
  site: SiteIndex,
  view: DeviceView,
  streams: readonly StreamFacts[],
  { streams: names, witnesses: hosts }: Finding,
  timersOf: (group: string) => MembershipTimers,
): DeviceWitness[] {
  const own = streams.filter(({ stream }) => names.includes(stream.stream));
  const byWay = new Map<string, { readonly facts: StreamFacts; readonly receipt: PlacedReceipt }[]>();
  for (const facts of own) {
    for (const receipt of facts.receipts) {
      if (receipt.lostPackets === 0 || (hosts !== undefined && !hosts.includes(receipt.listener.host))) continue;
      const key = `${facts.tree.source} ${receipt.node}`;
      byWay.set(key, [...(byWay.get(key) ?? []), { facts, receipt }]);
    }
  }
  return [...byWay.values()].flatMap((about) => deviceWitness(site, view, streams, about, timersOf) ?? []);
}

function weighOne(
  site: SiteIndex,
  finding: Finding,
  witnesses: readonly DeviceWitness[],
): { readonly finding: Finding; readonly disagreements: readonly Disagreement[] } {
  const evidence = [...new Set(witnesses.slice(0, MOST_TOLD).flatMap(deviceSentences))];
  // Ways share their first links, so that each way's counters are no news beside another's: the clearest speaks.
  const clearest = witnesses.reduce((best, one) => (spreadOf(one) > spreadOf(best) ? one : best));
  const logs = finding.suspects.map((suspect) => suspectLog(clearest, witnesses, suspect));
  const known = logs.filter((log) => log !== null);
  if (known.length === 0)
    return { finding: { ...finding, evidence: [...finding.evidence, ...evidence] }, disagreements: [] };
  const best = Math.max(...known);
  if (clearest.counters.length > 0 && likeliestLog(clearest) - best > LEAST_LOG) {
    return { finding, disagreements: [unfit(finding, clearest, evidence)] };
  }
  const suspects = finding.suspects.filter((_, index) => {
    const log = logs[index];
    return log === null || log === undefined || best - log < LEAST_LOG;
  });
  const ranked = suspects.toSorted((one, other) => logOf(finding, logs, other) - logOf(finding, logs, one));
  const elsewhere = elsewhereLog(clearest, witnesses, finding.suspects);
  const surer = { confidence: confidenceByDevices(finding, logs, elsewhere, ranked) };
  const narrow = narrowed(site, surer, finding, ranked, evidence, clearest);
  const advised = { ...narrow, advice: adviceByTables(finding.advice, clearest, ranked) };
  const delivered = witnesses.flatMap((one) => countedWithoutReceipt(one, finding.streams) ?? []);
  return { finding: advised, disagreements: delivered };
}

/** Hosts whose way is told. */
const MOST_TOLD = 1;

const spreadOf = ({ counters, tables }: DeviceWitness): number =>
  counters.reduce((sum, { cameLog, lostLog }) => sum + Math.abs(cameLog - lostLog), 0) + tables.length;

/** Steps of ten: nearly the same says nothing about the order. */
const logOf = ({ suspects }: Finding, logs: readonly (number | null)[], suspect: string): number =>
  Math.round((logs[suspects.indexOf(suspect)] ?? 0) / Math.LN10);

/** Sentences of a finding that say what else would look the same. */
const LOOKS_THE_SAME = /looks? the same|silence the same|the same packets|tells these apart/;
/** Of more suspects than are left. */
const NEXT_AGENT = /would part these suspects best/;
/** A place in a title. */
const PLACE = /between \S+ and [^\s:;]+:[^\s:;]+( by way of \S+)?( in VLAN \d+)?/;

/** @param surer the finding with another confidence; of `finding` the words are known without being made */
function narrowed(
  site: SiteIndex,
  surer: Pick<Finding, "confidence">,
  finding: Finding,
  suspects: readonly string[],
  evidence: readonly string[],
  { path }: DeviceWitness,
): Finding {
  if (suspects.length === finding.suspects.length && suspects[0] === finding.suspects[0]) {
    return { ...finding, ...surer, evidence: [...finding.evidence, ...evidence] };
  }
  const cleared = finding.suspects.filter((suspect) => !suspects.includes(suspect));
  const isLeft = (line: string): boolean =>
    cleared.length === 0 ||
    (!NEXT_AGENT.test(line) && !(LOOKS_THE_SAME.test(line) && cleared.some((one) => isNamed(one, line))));
  const { causes, ...rest } = finding;
  return {
    ...rest,
    suspects,
    title: retitled(finding, path.segments, phraseOf(suspects, bothWays(site, path))),
    confidence: surer.confidence,
    evidence: [
      ...finding.evidence.filter(isLeft),
      ...evidence,
      ...(cleared.length === 0 ? [] : [`That rules out ${cleared.join(", ")}.`]),
    ],
    ...(causes === undefined
      ? {}
      : { causes: { ...causes, elements: causes.elements.filter(({ place }) => suspects.includes(place)) } }),
  };
}

const isNamed = (place: string, line: string): boolean =>
  line.split(/[ ,;]+|: |:$/).some((word) => word === place || word === `${place}:`);

/** The place in it is another one now. */
function retitled({ title, suspects }: Finding, way: readonly LinkSegment[], place: string): string {
  const before = phraseOf(suspects, way);
  return title.includes(before) ? title.replace(before, place) : title.replace(PLACE, place);
}

/** Segments of the way, each with the whole that it is a part of, and the same in the other direction. */
const bothWays = ({ segments, segmentNumber, reverse, wholeSegment }: SiteIndex, path: CountedPath): LinkSegment[] =>
  path.segments.flatMap(({ id }) => {
    const number = segmentNumber.get(id) ?? -1;
    const other = reverse[number] ?? -1;
    const numbers = [wholeSegment.get(number) ?? -1, number, wholeSegment.get(other) ?? -1, other];
    return numbers.flatMap((one) => segments[one] ?? []);
  });

const phraseOf = (suspects: readonly string[], way: readonly LinkSegment[]): string =>
  suspectPhrase(
    suspects,
    way.filter(({ id }) => suspects.includes(id) || suspects.includes(planPlace(id))),
  );
