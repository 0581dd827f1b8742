import type { RunRequest } from "@dyetrace/wire";
import type { ConsoleScenario } from "@dyetrace/wire/console/console-scenario";
import { plan } from "../state/console-state.ts";
import { runDraft } from "../state/run-draft.ts";

/** @returns what the controller would be asked for, or null while that is not whole */
export function requestOf(shipped: ConsoleScenario | null): RunRequest | null {
  const draft = runDraft.value;
  const site = plan.value?.text;
  if (site === undefined) return null;
  if (shipped === null) return draft.own.text.trim() === "" ? null : { site, scenario: draft.own };
  const set = Object.entries(valuesOf(shipped)).filter(([, value]) => value.trim() !== "");
  return { site, scenario: shipped.text, parameters: Object.fromEntries(set) };
}

/** What the form holds; a source that nobody has chosen yet is the plan's first agent. */
export function valuesOf(shipped: ConsoleScenario): Readonly<Record<string, string>> {
  const firstAgent = plan.value?.drawing.nodes.find(({ agent }) => agent !== null)?.agent ?? "";
  const presumed = shipped.parameters
    .filter(({ takes, value, name }) => takes === "agent" && value === null && name === "source")
    .map(({ name }) => [name, firstAgent]);
  return { ...Object.fromEntries(presumed), ...runDraft.value.values[shipped.text.file] };
}

/** @returns parameters that still have no value */
export const missingOf = (shipped: ConsoleScenario | null): readonly string[] =>
  shipped === null
    ? []
    : shipped.parameters.flatMap(({ name, value }) =>
        value === null && (valuesOf(shipped)[name] ?? "").trim() === "" ? [name] : [],
      );
