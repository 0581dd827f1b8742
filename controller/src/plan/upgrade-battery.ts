import type { SiteGraph } from "@dyetrace/site";
import { agentNames } from "@dyetrace/site";
import { Fault, loadScenario, type RunRequest, type UserFile } from "@dyetrace/wire";
import type { ConsoleScenario } from "@dyetrace/wire/console/console-scenario";

/** What a change of firmware can spoil, from the quickest to the longest. */
export const BATTERY = ["reach", "containment", "size-steps", "many-groups", "join-and-leave", "ageing"] as const;
export type BatteryPart = (typeof BATTERY)[number];

export interface PlannedPart {
  readonly scenario: BatteryPart;
  readonly request: RunRequest;
  readonly durationNs: number;
}

export interface BatteryChoice {
  readonly source: string;
  /** Those that join where others only watch; empty: every second listener of the plan. */
  readonly members: readonly string[];
  readonly parts: readonly BatteryPart[];
  /** Given to every scenario that has a parameter of the name. */
  readonly settings: Readonly<Record<string, string>>;
}

/** The runs of a battery, in order. Pure. @throws {Fault} OPTION_INVALID, SCENARIO_INVALID */
export function planBattery(
  site: UserFile,
  graph: SiteGraph,
  shipped: readonly ConsoleScenario[],
  { source, members, parts, settings }: BatteryChoice,
): readonly PlannedPart[] {
  const agents = agentNames(graph);
  for (const name of [source, ...members]) {
    if (agents.includes(name)) continue;
    throw new Fault("OPTION_INVALID", `No agent of the plan is called ${name}`, `It has ${agents.join(", ")}`);
  }
  const others = agents.filter((agent) => agent !== source);
  const joining = members.length > 0 ? members : others.filter((_, index) => index % 2 === 0);
  const own: Readonly<Record<string, string>> = { source, members: `[${joining.join(", ")}]`, ...settings };
  const scenarios = BATTERY.filter((part) => parts.includes(part)).map((part) => scenarioOf(shipped, part));
  const known = new Set(scenarios.flatMap(({ parameters }) => parameters.map(({ name }) => name)));
  const strange = Object.keys(settings).find((name) => !known.has(name));
  if (strange !== undefined) {
    throw new Fault(
      "OPTION_INVALID",
      `No scenario of the battery has a parameter ${strange}`,
      `They have ${[...known].join(", ")}`,
    );
  }
  return scenarios.map(({ text, name, parameters: taken }) => {
    const parameters = Object.fromEntries(
      taken.flatMap(({ name: parameter }) => {
        const value = own[parameter];
        return value === undefined ? [] : [[parameter, value]];
      }),
    );
    const { scenario } = loadScenario(Buffer.from(text.text), text.file, { parameters });
    return {
      scenario: name as BatteryPart,
      request: { site, scenario: text, parameters },
      durationNs: scenario.durationNs,
    };
  });
}

function scenarioOf(shipped: readonly ConsoleScenario[], part: BatteryPart): ConsoleScenario {
  const found = shipped.find(({ name }) => name === part);
  if (found === undefined) throw new Error(`${part} does not ship with this version`);
  return found;
}

/** The baseline under which a part is kept: `core-fw.reach`. */
export const keptAs = (name: string, part: BatteryPart): string => `${name}.${part}`;

/** Which part a baseline of this name is; null: it belongs to no battery of the name. */
export function partOf(name: string, baseline: string): BatteryPart | null {
  return BATTERY.find((part) => baseline === keptAs(name, part)) ?? null;
}

/** @throws {Fault} OPTION_INVALID */
export function readParts(text: string): readonly BatteryPart[] {
  return text.split(",").map((word) => {
    const part = BATTERY.find((one) => one === word.trim());
    if (part !== undefined) return part;
    throw new Fault("OPTION_INVALID", `"${word.trim()}" is no part of the battery`, `It has ${BATTERY.join(", ")}`);
  });
}
