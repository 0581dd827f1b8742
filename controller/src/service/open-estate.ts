import type { Logger } from "pino";
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
    onStopAsked: (runId) => runs.list().some(({ id, isRunning }) => id === runId && isRunning) && runs.abort(runId),
  };
  registry.right = { isHeld: (runId) => holds.isHeld(runId), epochOf: (runId) => holds.epochOf(runId) };
  const calls = closers.own(new AgentCalls(registry, bus, (agent) => runs.ofAgent(agent) !== null));
  return { bus, clock, holds, calls };
}

/** Times of scheduled runs are the store's, where several controllers go by them. */
export const scheduleClocks = (clock: StoreClock): ScheduleClocks => ({
  wall: () => clock.now(),
  monotonic: () => performance.now(),
});
