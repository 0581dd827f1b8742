import type { LinkSegment } from "@dyetrace/site";
import { placeNames } from "../cover/failure-element.ts";
import { type DiagnosisRule, diagnose } from "../finding/diagnosis-rule.ts";
import type { Finding } from "../finding/finding.ts";
import { betweenPhrase, portName } from "../finding/place-wording.ts";
import { count, nameList, seconds } from "../finding/wording.ts";
import { cutSuspects, type LeaveCut, leaveThatCut } from "../membership/leave-cut.ts";
import type { MembershipContext } from "../membership/membership-context.ts";
import type { SiteIndex } from "../site/site-index.ts";
import type { Outage } from "./outage.ts";

/** Outages with the same suspects. */
interface OutageCase {
  readonly outages: readonly Outage[];
  readonly streams: readonly string[];
  readonly hosts: readonly string[];
  readonly suspects: readonly string[];
  readonly segments: readonly LinkSegment[];
  readonly cut: LeaveCut | null;
  /** From the start of one outage to the start of the next, if that is always about the same and there are three or more. */
  readonly periodMs: number | null;
}

const OUTAGE_RULES: readonly DiagnosisRule<OutageCase>[] = [
  {
    kind: "leave-cuts-neighbour",
    when: ({ cut }) => cut !== null,
    title: (outage) =>
      `When ${outage.cut?.leave.host} left ${nameList(outage.streams)}, ${nameList(outage.hosts)} behind the same port ${portOf(outage.cut)} lost it for ${seconds(length(outage))}`,
    suspects: ({ cut, suspects }) => (cut === null ? suspects : cutSuspects(cut, suspects)),
    advice:
      "Cut off at once: turn fast leave off on this port, more than one host lies behind it. Cut off after about two seconds: see whether the group-specific query reaches the other hosts and their answer comes back in time.",
    reference: "RFC 3376, section 6.4.2; RFC 2236, section 3",
  },
  {
    kind: "ages-out",
    when: ({ periodMs }) => periodMs !== null,
    title: (outage) =>
      `${nameList(outage.streams)} comes and goes at ${nameList(outage.hosts)}, every ${seconds(outage.periodMs ?? 0)}: memberships seem to run out before the next query`,
    advice:
      "Compare the query interval with the time after which the switch forgets a member: it must be at least two query intervals and the response time, on every switch of the VLAN.",
    reference: "RFC 3376, section 8.4",
  },
  {
    kind: "loses",
    when: () => true,
    title: (outage) =>
      `${nameList(outage.streams)} had ${outage.outages.length === 1 ? "a gap" : `${outage.outages.length} gaps`} of up to ${seconds(length(outage))} ${between(outage)}: ${nameList(outage.hosts)} lost it, then it came back`,
    advice:
      "Look in the logs of the switches at both ends for what happened at these times: a link that went down and up, a spanning tree change, a full queue, a query that came late.",
    reference: "common practice, no standard",
  },
];

/** One finding for all outages that point to the same place. */
export function outageFindings(site: SiteIndex, outages: readonly Outage[], membership: MembershipContext): Finding[] {
  const bySuspects = new Map<string, Outage[]>();
  for (const outage of outages) {
    const key = suspectsOf(site, outage).join(" ");
    const same = bySuspects.get(key);
    if (same === undefined) bySuspects.set(key, [outage]);
    else same.push(outage);
  }
  return [...bySuspects.values()].flatMap((same) => outageFinding(outageCase(site, same, membership)) ?? []);
}

function suspectsOf(site: SiteIndex, { failure }: Outage): string[] {
  return [...new Set(failure.elements.flatMap((element) => placeNames(site, element)))];
}

function outageCase(site: SiteIndex, outages: readonly Outage[], { leaves, timers }: MembershipContext): OutageCase {
  const cuts = outages.flatMap((outage) => {
    const silent = outage.receipts.map((receipt) => receipt.node);
    const served = outage.served.map((receipt) => receipt.node);
    return leaveThatCut(site, leaves, outage.facts, silent, served, outage.startMs, timers) ?? [];
  });
  const [first] = outages;
  const links = first?.failure.elements.filter(({ kind }) => kind === "link" || kind === "link-group") ?? [];
  return {
    outages,
    streams: [...new Set(outages.map((outage) => outage.facts.stream.stream))],
    hosts: [...new Set(outages.flatMap((outage) => outage.receipts.map((receipt) => receipt.listener.host)))],
    suspects: first === undefined ? [] : suspectsOf(site, first),
    segments: [...new Set(links.map((element) => element.place))].flatMap((place) => site.segments[place] ?? []),
    cut: cuts[0] ?? null,
    periodMs: periodOf(outages),
  };
}

const PERIOD_TOLERANCE = 0.15;

function periodOf(outages: readonly Outage[]): number | null {
  const starts = [...new Set(outages.map((outage) => Math.round(outage.startMs / 100) * 100))].sort((a, b) => a - b);
  const steps = starts.slice(1).map((start, i) => start - (starts[i] ?? 0));
  const mean = steps.reduce((sum, step) => sum + step, 0) / Math.max(1, steps.length);
  const isRegular = steps.length >= 2 && steps.every((step) => Math.abs(step - mean) <= PERIOD_TOLERANCE * mean);
  return isRegular ? mean : null;
}

function outageFinding(outage: OutageCase): Finding | null {
  const rule = diagnose(OUTAGE_RULES, outage);
  if (rule === null) return null;
  return {
    kind: rule.kind,
    streams: outage.streams,
    suspects: [...new Set(rule.suspects?.(outage) ?? outage.suspects)],
    confidence: rule.kind === "ages-out" ? 0.8 : 0.9,
    title: rule.title(outage),
    evidence: outageEvidence(outage),
    advice: rule.advice,
    reference: rule.reference,
  };
}

function outageEvidence({ outages, cut }: OutageCase): string[] {
  const lines = outages.slice(0, 5).map(({ facts, numbers, startMs, endMs, receipts }) => {
    const packets = count(numbers[1] - numbers[0] + 1, "packet");
    return `${nameList(receipts.map((r) => r.listener.host))} missed ${packets} of ${facts.stream.stream} in a row, ${seconds(startMs)} to ${seconds(endMs)}.`;
  });
  const served = [...new Set(outages.flatMap((outage) => outage.served.map((receipt) => receipt.listener.host)))];
  lines.push(
    served.length === 0
      ? "No listener received anything meanwhile, so the gap lies before the first branch."
      : `${nameList(served)} received it meanwhile.`,
  );
  if (cut !== null)
    lines.push(`${cut.leave.host} left at ${seconds(cut.leave.atMs)}, ${seconds(cut.afterMs)} before the gap.`);
  return lines;
}

const length = ({ outages }: OutageCase): number => Math.max(...outages.map((o) => o.endMs - o.startMs));

const portOf = (cut: LeaveCut | null): string => (cut === null ? "" : portName(cut.port.from));

function between({ segments, suspects }: OutageCase): string {
  const [first, last] = [segments[0], segments.at(-1)];
  if (first === undefined || last === undefined) return `in ${suspects[0] ?? "an unknown place"}`;
  return betweenPhrase(first, last);
}
