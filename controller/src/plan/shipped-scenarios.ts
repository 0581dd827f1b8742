import { readdirSync, readFileSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { readYamlDocument } from "@dyetrace/wire";
import type { ConsoleScenario } from "@dyetrace/wire/console/console-scenario";

const SHIPPED = new URL("../../scenarios/", import.meta.url);

/** What a site is tried with first; the others follow by name. */
const FIRST = ["reach.yaml", "containment.yaml"];

let shipped: readonly ConsoleScenario[] | null = null;

/** The scenarios that ship with the program. Read once: whoever may look asks for them as often as he likes. */
export function shippedScenarios(): readonly ConsoleScenario[] {
  shipped ??= readShipped();
  return shipped;
}

function readShipped(): readonly ConsoleScenario[] {
  const rank = (file: string): number => (FIRST.includes(file) ? FIRST.indexOf(file) : FIRST.length);
  return readdirSync(fileURLToPath(SHIPPED))
    .filter((file) => file.endsWith(".yaml"))
    .sort((a, b) => rank(a) - rank(b) || a.localeCompare(b))
    .map((file) => describeScenario(file, readFileSync(new URL(file, SHIPPED), "utf8")));
}

/** What a chooser needs to know of a scenario file before its parameters are set. @throws {Fault} SCENARIO_INVALID */
export function describeScenario(file: string, text: string): ConsoleScenario {
  const { data } = readYamlDocument(text, file, "SCENARIO_INVALID");
  const parameters = isRecord(data["parameters"]) ? data["parameters"] : {};
  const sources = referencesIn(data["streams"], "source");
  const listeners = referencesIn(data["timeline"], "agents");
  return {
    text: { file, text },
    name: String(data["scenario"] ?? file),
    about: String(data["about"] ?? ""),
    parameters: Object.entries(parameters).map(([name, value]) => ({
      name,
      value: value === null || value === undefined ? null : writeValue(value),
      note: noteBeside(text, name),
      takes: sources.has(name) ? "agent" : listeners.has(name) ? "agents" : "text",
    })),
  };
}

const isRecord = (value: unknown): value is Readonly<Record<string, unknown>> =>
  typeof value === "object" && value !== null && !Array.isArray(value);

/** Names of parameters that stand at `key` of any entry of a list. */
function referencesIn(list: unknown, key: string): ReadonlySet<string> {
  const entries = Array.isArray(list) ? list.filter(isRecord) : [];
  return new Set(
    entries.flatMap((entry) => {
      const value = entry[key];
      return typeof value === "string" && value.startsWith("$") ? [value.slice(1)] : [];
    }),
  );
}

const writeValue = (value: unknown): string => (Array.isArray(value) ? `[${value.join(", ")}]` : String(value));

/** The comment on a parameter's own line. */
function noteBeside(text: string, name: string): string {
  const line = text.split("\n").find((candidate) => candidate.trimStart().startsWith(`${name}:`)) ?? "";
  const at = line.indexOf("# ");
  return at < 0 ? "" : line.slice(at + 2).trim();
}
