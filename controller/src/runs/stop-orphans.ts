import type { Logger } from "pino";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AgentSession } from "../agents/agent-session.ts";
import type { Store } from "../store/store.ts";
import type { PickedUpRuns } from "./pick-up-runs.ts";

const REASON = "this controller conducts no such run";

/**
 * Tells an agent to stop that comes with a run which this controller does not conduct: its source would go on for as long as
 * the controller is heard, and nobody would know of it. So it is after a look or a ramp that a restart cut short, and with a
 * store that was put back from an older copy.
 */
export function stopOrphans(
  { registry, store, log }: { readonly registry: AgentRegistry; readonly store: Store; readonly log: Logger },
  pickedUp: Pick<PickedUpRuns, "isWaiting">,
): Disposable {
  const isOurs = (runId: string): boolean => registry.conducted.has(runId) || pickedUp.isWaiting(runId);
  const look = async (session: AgentSession, runId: string): Promise<void> => {
    if (isOurs(runId) || (await isConductedElsewhere(store, runId)) || isOurs(runId)) return;
    log.warn({ agent: session.name, runId }, "agent told to stop: it is busy with a run that is not conducted here");
    session.send({ kind: "abort", runId, reason: REASON });
  };
  const onConnected = (session: AgentSession): void => {
    if (session.runId !== null) void look(session, session.runId);
  };
  registry.on("connected", onConnected);
  return { [Symbol.dispose]: () => void registry.off("connected", onConnected) };
}

/**
 * A run that stands in the store of several controllers is one's, or will be taken by one soon. Where the store cannot be asked
 * nobody knows: this controller does not keep its sources going, and they end by themselves.
 */
async function isConductedElsewhere(store: Store, runId: string): Promise<boolean> {
  if (store.isPrivate) return false;
  return await store.runs.find(runId).then(
    (record) => record?.state === "running",
    () => true,
  );
}
