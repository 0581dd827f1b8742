import { parseDurationNs } from "../units.ts";
import { readYamlDocument, type YamlDocument } from "../yaml/yaml-document.ts";
import { FileMistakes } from "../yaml/yaml-document-mistakes.ts";
import { checkAgainstSchema } from "../yaml/yaml-document-schema.ts";
import {
  namesMembershipInterval,
  parseScenarioDurationNs,
  STANDARD_MEMBERSHIP_INTERVAL_NS,
} from "./scenario-file-duration.ts";
import { resolveExpectation, type ScenarioExpectation } from "./scenario-file-expect.ts";
import { checkOrder } from "./scenario-file-order.ts";
import { fillInParameters, type ScenarioParameters } from "./scenario-file-parameters.ts";
import { ScenarioFileSchema } from "./scenario-file-schema.ts";
import { indexStreamNames, resolveStreams } from "./scenario-file-streams.ts";
import { resolveTimeline, type ScenarioAction } from "./scenario-file-timeline.ts";
import type { ScenarioStream } from "./scenario-stream.ts";

/** What to send, who joins and leaves when, and what is expected: units resolved, copies and repeats written out. */
export interface Scenario {
  readonly name: string;
  readonly about: string | null;
  /** The values in force: the file's, or those that the caller set. */
  readonly parameters: ScenarioParameters;
  readonly streams: readonly ScenarioStream[];
  /** Ascending in time; entries of the same time in the order of the file. */
  readonly timeline: readonly ScenarioAction[];
  readonly expect: ScenarioExpectation;
  /** How long a source goes on without a word from its controller: 5 s unless the file says longer. */
  readonly holdNs: number;
  /** Whether bursts of test packets may follow. Absent: no. */
  readonly sendsBursts?: boolean;
  /** When the last action is due. */
  readonly durationNs: number;
  /** Whether some time in it is counted in membership intervals, which only a site's querier can tell. */
  readonly usesMembershipInterval: boolean;
  /** Parameters that the caller set to less than their membership interval: what they wait for cannot come about. */
  readonly shortened: readonly string[];
}

export interface LoadedScenario {
  readonly scenario: Scenario;
  /** For faults that are found later: `document.placeOf(["timeline", action.entry, "agents"])`. */
  readonly document: YamlDocument;
}

export interface ScenarioOptions {
  /** Values that replace the file's defaults, as the user wrote them (`--set hold=10s`). */
  readonly parameters?: Readonly<Record<string, string>>;
  /** What `membership-interval` stands for; RFC 3376's default where the site's own is not known. */
  readonly membershipIntervalNs?: number;
}

/**
 * @param text the file's text or bytes
 * @throws {Fault} SCENARIO_INVALID with the place of the first mistake and the rest in `others`; OPTION_INVALID for a
 * parameter that the file does not have
 */
export function loadScenario(text: string | Uint8Array, file: string, options: ScenarioOptions = {}): LoadedScenario {
  const { parameters: set = {}, membershipIntervalNs = STANDARD_MEMBERSHIP_INTERVAL_NS } = options;
  const written = readYamlDocument(text, file, "SCENARIO_INVALID");
  const { document, parameters } = fillInParameters(written, set);
  const plan = checkAgainstSchema(document, ScenarioFileSchema);
  const mistakes = new FileMistakes(document);
  const streams = resolveStreams(plan.streams, mistakes);
  const expect = resolveExpectation(plan.expect ?? {}, mistakes);
  const holdNs = plan.hold === undefined ? DEFAULT_HOLD_NS : resolveHold(plan.hold, mistakes);
  mistakes.throwIfAny();
  const timeline = resolveTimeline(
    plan.timeline,
    indexStreamNames(plan.streams, streams),
    membershipIntervalNs,
    mistakes,
  );
  mistakes.throwIfAny();
  checkOrder(timeline, streams, mistakes);
  mistakes.throwIfAny();
  const scenario: Scenario = {
    name: plan.scenario,
    about: plan.about ?? null,
    parameters,
    streams,
    timeline,
    expect,
    holdNs,
    ...(plan.bursts === true ? { sendsBursts: true } : {}),
    durationNs: timeline.at(-1)?.atNs ?? 0,
    usesMembershipInterval: plan.timeline.some(({ at, after }) => namesMembershipInterval(at ?? after ?? "")),
    shortened: shortenedParameters(plan.parameters ?? {}, set, membershipIntervalNs),
  };
  return { scenario, document };
}

/** A source that lost its controller is soon under nobody's control, so this is short. */
export const DEFAULT_HOLD_NS = 5e9;
/** A source must not fall silent because one beat came late, nor go on for days without anybody who could stop it. */
const HOLD_RANGE_NS = { least: 2e9, most: 24 * 3600e9 };

function resolveHold(text: string, mistakes: FileMistakes): number {
  const holdNs = mistakes.attempt(["hold"], () => parseDurationNs(text)) ?? DEFAULT_HOLD_NS;
  if (holdNs < HOLD_RANGE_NS.least || holdNs > HOLD_RANGE_NS.most) {
    mistakes.add(["hold"], `hold is ${text}`, "Write a time from 2 s to 24 h");
  }
  return holdNs;
}

function shortenedParameters(
  written: Readonly<Record<string, unknown>>,
  set: Readonly<Record<string, string>>,
  membershipIntervalNs: number,
): string[] {
  const ns = (text: string): number => parseScenarioDurationNs(text, membershipIntervalNs);
  return Object.entries(set).flatMap(([name, value]) => {
    const standard = written[name];
    if (typeof standard !== "string" || !namesMembershipInterval(standard)) return [];
    return ns(value) < ns("membership-interval") ? [name] : [];
  });
}
