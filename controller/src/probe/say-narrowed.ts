import type { Narrowed, ProbedPair } from "@dyetrace/locate";
import type { ProbedRun } from "./probed-finding.ts";

const MOST_NAMES = 6;

/** One sentence: what the probe makes of the first run's suspects. */
export function narrowedSentence({ suspects }: ProbedRun, { outcome, suspects: left, silent }: Narrowed): string {
  switch (outcome) {
    case "narrowed":
      return left.length === 1
        ? `Of ${suspects.length} suspects of the first run one is left: ${left[0]}`
        : `Of ${suspects.length} suspects of the first run ${left.length} are left: ${list(left)}`;
    case "not-parted":
      return `The fault is still there, and the probe rules out none of the ${suspects.length} suspects`;
    case "gone":
      return "What had failed came through in the probe: the fault is gone, or it comes and goes. The suspects of the first run stand";
    case "undecided":
      return silent.length === 0
        ? "What had failed could not be tried again, so the suspects of the first run stand"
        : "What the probe shows fits none of the suspects as one fault that was there in both runs, so the suspects of the first run stand";
  }
}

/** Who got what in the probe, and whom that rules out. */
export function narrowedEvidence(
  { suspects }: ProbedRun,
  { outcome, suspects: left, silent, good, isOneFault, deaf }: Narrowed,
  streams: readonly { readonly stream: string; readonly source: string }[],
): string[] {
  const sourceOf = (name: string): string => streams.find(({ stream }) => stream === name)?.source ?? "unknown";
  const cleared = suspects.filter((name) => !left.includes(name));
  return [
    ...byStream(good).map(
      ([stream, hosts]) => `In the probe ${list(hosts)} received ${stream}, which ${sourceOf(stream)} sent.`,
    ),
    ...byStream(silent).map(
      ([stream, hosts]) => `In the probe ${list(hosts)} got nothing of ${stream}, which ${sourceOf(stream)} sent.`,
    ),
    ...(deaf.length === 0
      ? []
      : [`Meanwhile ${list(deaf)} heard no query, while others did: more than the membership reports is lost.`]),
    ...(outcome === "narrowed"
      ? [`Taking it that one fault was there in both runs, that rules out ${list(cleared)}.`]
      : []),
    ...(isOneFault
      ? []
      : ["No suspect alone explains all that was silent in the probe, so something else fails besides."]),
  ];
}

/** "between core:1 and pier-east:24", "in sw3", "in one of 3 places: …". */
export function placesPhrase(suspects: readonly string[]): string {
  const [first = ""] = suspects;
  if (isOneLink(suspects)) {
    const [from, to] = first.split(">");
    return `between ${from} and ${to}: what is sent one way, or the membership reports the other way`;
  }
  if (suspects.length > 1) return `in one of ${suspects.length} places: ${list(suspects)}`;
  const [, from, to, vlan] = /^(.+)>(.+?)( vlan \d+)?$/.exec(first) ?? [];
  if (from === undefined || to === undefined) return `in ${first}`;
  return `between ${from} and ${to}${vlan === undefined ? "" : ` in${vlan.replace("vlan", "VLAN")}`}`;
}

/** Both directions of one link, and nothing else. */
function isOneLink([first = "", second = "", ...others]: readonly string[]): boolean {
  const [from, to] = first.split(">");
  return others.length === 0 && to !== undefined && second === `${to}>${from}`;
}

function byStream(pairs: readonly ProbedPair[]): [string, string[]][] {
  const streams = new Map<string, string[]>();
  for (const { stream, host } of pairs) streams.set(stream, [...(streams.get(stream) ?? []), host]);
  return [...streams];
}

function list(names: readonly string[]): string {
  const rest = names.length - MOST_NAMES;
  const shown = rest > 0 ? [...names.slice(0, MOST_NAMES), `${rest} more`] : names;
  return shown.length < 2 ? shown.join("") : `${shown.slice(0, -1).join(", ")} and ${shown.at(-1)}`;
}
