import { FINDING_KINDS, groupBy } from "@dyetrace/wire";
import type { Finding } from "../finding/finding.ts";
import { nameList, seconds } from "../finding/wording.ts";
import type { LinkChange, RunObservations } from "../run/run-observations.ts";

/** Changes of one host that are told. */
const MOST_TOLD = 3;

/** What stops, thins out or comes late at a host whose own link changed meanwhile may be that link's doing, so that is shown. */
export function withLinkChanges(findings: readonly Finding[], { linkChanges = [] }: RunObservations): Finding[] {
  const changesOf = groupBy(linkChanges, ({ host }) => host);
  return findings.map((finding) => {
    const isOfPackets = FINDING_KINDS[finding.kind].glyph === "stop" || FINDING_KINDS[finding.kind].glyph === "thin";
    const hosts = new Set([...(finding.witnesses ?? []), ...finding.suspects]);
    const lines = [...hosts].flatMap((host) => (isOfPackets ? tell(host, changesOf.get(host)) : []));
    return lines.length === 0 ? finding : { ...finding, evidence: [...finding.evidence, ...lines] };
  });
}

/** Changes that no finding shows. @param findings with the changes that they show */
export function linkRemarks(findings: readonly Finding[], { linkChanges = [] }: RunObservations): string[] {
  const shown = new Set(findings.flatMap(({ evidence }) => evidence));
  return [...groupBy(linkChanges, ({ host }) => host)].flatMap(([host, changes]) =>
    tell(host, changes).filter((line) => !shown.has(line)),
  );
}

function tell(host: string, changes: readonly LinkChange[] = []): string[] {
  if (changes.length === 0) return [];
  const times = changes.slice(0, MOST_TOLD).map(({ fromMs, toMs }) => `${seconds(fromMs)} to ${seconds(toMs)}`);
  const more = changes.length > MOST_TOLD ? `, and ${changes.length - MOST_TOLD} times more` : "";
  return [`The link of ${host} itself went down or came up within ${nameList(times)}${more}.`];
}
