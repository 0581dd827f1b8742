import type { ConsoleAgent } from "@dyetrace/wire/console/console-agent";
import type { ConsoleEvent } from "@dyetrace/wire/console/console-event";
import type { ConsoleRun } from "@dyetrace/wire/console/console-run";
import type { LiveHeard } from "@dyetrace/wire/console/live-second";
import type { ConsolePlan } from "@dyetrace/wire/console/plan-drawing";
import { computed, type ReadonlySignal, signal } from "@preact/signals";
import { LiveHistory } from "./live-history.ts";

/** How the page stands to its controller. Nothing that it told counts as current unless this is `on`. */
export type ControllerLink =
  | { readonly kind: "connecting" }
  | { readonly kind: "on" }
  | { readonly kind: "gone"; readonly since: Date };

export const link = signal<ControllerLink>({ kind: "connecting" });
export const instance = signal<string | null>(null);
export const version = signal<string | null>(null);
export const isPractice = signal(false);
export const plan = signal<ConsolePlan | null>(null);
/** Null while the controller is gone: who is connected is then unknown. */
export const agents = signal<readonly ConsoleAgent[] | null>(null);
export const run = signal<ConsoleRun | null>(null);
/** The run that the controller took with it when it ended, unless it took it up again; said once, then forgotten. */
export const lostRun = signal<{ readonly runId: string; readonly scenario: string } | null>(null);
export const heard = signal<readonly LiveHeard[]>([]);
/** When `run` was told, on this page's clock: the run's own time goes on from there. */
export const runToldAt = signal(0);

/** The strips change in place; whoever draws them reads `liveVersion` to be told. */
export const history = new LiveHistory();
export const liveVersion = signal(0);

/** Batches of a hundred agents come many times a second; nobody reads faster than this. */
const TOLD_EVERY_MS = 400;
let isTelling = false;

/** Tells whoever draws the strips, soon and not too often. */
function tellLive(): void {
  if (isTelling) return;
  isTelling = true;
  setTimeout(() => {
    isTelling = false;
    liveVersion.value++;
  }, TOLD_EVERY_MS);
}

/** True while agents are measuring and the controller says so. */
export const isRunning: ReadonlySignal<boolean> = computed(
  () => link.value.kind === "on" && run.value !== null && run.value.stage !== "over",
);

const KEPT_HEARD = 500;

export function takeEvent(event: ConsoleEvent): void {
  switch (event.kind) {
    case "beat":
      return;
    case "hello": {
      const before = run.value;
      const isRestarted = instance.value !== null && instance.value !== event.instance;
      lostRun.value =
        isRestarted && before !== null && before.stage !== "over" && before.runId !== event.run?.runId
          ? { runId: before.runId, scenario: before.outline.scenario }
          : null;
      instance.value = event.instance;
      version.value = event.version;
      isPractice.value = event.isPractice;
      plan.value = event.plan;
      agents.value = event.agents;
      run.value = event.run;
      runToldAt.value = performance.now();
      heard.value = event.heard;
      history.load(event.strips);
      liveVersion.value++;
      link.value = { kind: "on" };
      return;
    }
    case "agents":
      agents.value = event.agents;
      return;
    case "plan":
      plan.value = event.plan;
      return;
    case "run":
      if (event.run.runId !== run.value?.runId) {
        history.load([]);
        heard.value = [];
        lostRun.value = null;
        liveVersion.value++;
      }
      run.value = event.run;
      runToldAt.value = performance.now();
      return;
    case "live":
      if (event.runId !== run.value?.runId) return;
      for (const cell of event.cells) history.take(cell);
      tellLive();
      return;
    case "heard":
      if (event.runId !== run.value?.runId) return;
      heard.value = [...heard.value, ...event.heard].slice(-KEPT_HEARD);
      return;
  }
}

export function controllerGone(): void {
  if (link.value.kind === "gone") return;
  link.value = { kind: "gone", since: new Date() };
  agents.value = null;
}
