import type { Fault } from "@dyetrace/wire";
import type { Logger } from "pino";
import { AccessBook } from "../access/access-book.ts";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import { AgentCalls } from "../estate/call-agents.ts";
import { EstateBus } from "../estate/estate-bus.ts";
import { RunHolds } from "../estate/run-holds.ts";
import { StoreClock } from "../estate/store-clock.ts";
import type { RunRegistry } from "../runs/run-registry.ts";
import type { ScheduleClocks } from "../runs/run-schedule.ts";
import type { Store } from "../store/store.ts";
import type { Closers } from "./closers.ts";

export interface Estate {
  readonly bus: EstateBus;
  readonly clock: StoreClock;
  readonly holds: RunHolds;
  readonly calls: AgentCalls;
}

interface EstateSetup {
  readonly store: Store;
  readonly registry: AgentRegistry;
  readonly runs: RunRegistry;
  readonly log: Logger;
}

/** What ties controllers together that share a store. Of one that has its own the same, with nobody at the other end. */
export async function openEstate({ store, registry, runs, log }: EstateSetup, closers: Closers): Promise<Estate> {
  const pgBus = store.openBus();
  if (pgBus !== null) closers.own(pgBus);
  const bus = new EstateBus(pgBus);
  const clock = closers.own(new StoreClock(store));
  await clock.ask();
  const holds = closers.own(new RunHolds(store, log));
  holds.told = {
    onLost: (runId) => runs.leave(runId),
    onRegained: (runId) => void registry.emit("regained", runId),
    onStopAsked: (runId) =>
      runs.list().some(({ id, isRunning }) => id === runId && isRunning) && runs.abort(runId, null),
  };
  registry.right = { isHeld: (runId) => holds.isHeld(runId), epochOf: (runId) => holds.epochOf(runId) };
  passOnProgress({ store, runs, bus });
  const calls = closers.own(new AgentCalls(registry, bus, (agent) => runs.ofAgent(agent) !== null));
  return { bus, clock, holds, calls };
}

/** What each controller says of its runs is heard at all of them: consoles and commands follow a run wherever they are. */
function passOnProgress({ store, runs, bus }: Pick<EstateSetup, "store" | "runs"> & { readonly bus: EstateBus }): void {
  if (bus.isAlone) return;
  runs.on("progress", (runId, progress) => {
    void bus.say({ kind: "progress", runId, progress: progress.kind === "done" ? "stored" : progress });
  });
  bus.on("word", (word) => {
    if (word.kind !== "progress") return;
    const { runId, progress } = word;
    if (progress !== "stored") {
      runs.mirror(runId, progress);
      return;
    }
    store.runs
      .find(runId)
      .then((record) => {
        if (record?.report != null) runs.mirror(runId, { kind: "done", report: record.report });
      })
      .catch(() => undefined); // whoever follows it asks for the run itself
  });
}

/** Times of scheduled runs are the store's, where several controllers go by them. */
export const scheduleClocks = (clock: StoreClock): ScheduleClocks => ({
  wall: () => clock.now(),
  monotonic: () => performance.now(),
});

/** Who may do what: of a store of several controllers there, otherwise in a file. A file that was there before is taken over. */
export async function openAccess(
  store: Store,
  dataFolder: string | null,
  log: Logger,
  closers: Closers,
): Promise<AccessBook> {
  const onTrouble = (err: Fault): void => log.error({ err }, "who may do what stays as it was");
  const shared = await store.openAccess();
  if (shared === null) return new AccessBook(dataFolder, onTrouble);
  closers.own(shared);
  const book = new AccessBook(shared, onTrouble);
  if (shared.text === null && dataFolder !== null) {
    const { records } = new AccessBook(dataFolder, onTrouble);
    if (records.operators.length + records.agents.length > 0) book.change(() => records);
  }
  return book;
}
