import type { RunRequest } from "@dyetrace/wire";
import type { ConsoleScenario } from "@dyetrace/wire/console/console-scenario";
import { readSchedule, scheduleDraft } from "../schedule/schedule-draft.ts";
import { plan } from "../state/console-state.ts";
import { runDraft } from "../state/run-draft.ts";

/** @returns what the controller would be asked for, or null while that is not whole */
export function requestOf(shipped: ConsoleScenario | null): RunRequest | null {
  const draft = runDraft.value;
  const site = plan.value?.text;
  if (site === undefined) return null;
  const kept = draft.keepsHeaders ? { keepsHeaders: true } : {};
  if (shipped === null) return draft.own.text.trim() === "" ? null : { site, scenario: draft.own, ...kept };
  const set = Object.entries(valuesOf(shipped)).filter(([, value]) => value.trim() !== "");
  return { site, scenario: shipped.text, parameters: Object.fromEntries(set), ...kept };
}

/** Whether the scenario lasts as long as its parameter `length` says. */
export const hasLength = (shipped: ConsoleScenario | null): boolean =>
  shipped?.parameters.some(({ name }) => name === "length") ?? false;

/**
 * The request with its times.
 * @param nowMs since 1970 @returns what is wrong with the times in the place of it, and what is to be said of them
 */
export function timedRequest(
  request: RunRequest,
  shipped: ConsoleScenario | null,
  nowMs: number,
): { readonly request: RunRequest | null; readonly wrong: string | null; readonly note: string | null } {
  const draft = scheduleDraft.value;
  const read = readSchedule(draft, nowMs);
  if (read.kind === "wrong") return { request: null, wrong: read.says, note: null };
  if (read.kind === "at-once") return { request, wrong: null, note: null };
  const { startMs, endMs, note } = read;
  const lateMs = draft.withinMinutes * 60_000;
  if (!(lateMs >= 60_000 && lateMs <= MOST_LATE_MS)) {
    return { request: null, wrong: "It may begin 1 to 1440 minutes late.", note: null };
  }
  const length =
    endMs !== null && hasLength(shipped)
      ? { length: lengthText(Math.max(1, Math.round((endMs - startMs) / 1000))) }
      : {};
  const timed = {
    ...request,
    parameters: { ...request.parameters, ...length },
    startAt: new Date(startMs).toISOString(),
    startWithinMs: lateMs,
  };
  return { request: timed, wrong: null, note };
}

/** As the request's schema has it. */
const MOST_LATE_MS = 86_400_000;

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

/** As a scenario's file has it, in the largest unit that it is whole in. */
const lengthText = (seconds: number): string =>
  seconds % 3600 === 0 ? `${seconds / 3600}h` : seconds % 60 === 0 ? `${seconds / 60}min` : `${seconds}s`;
