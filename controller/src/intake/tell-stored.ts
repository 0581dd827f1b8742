import type { AgentSession } from "../agents/agent-session.ts";
import type { Store } from "../store/store.ts";

/** Control protocol in which agents send again what a store that was put back from an older copy has not. */
const SENDS_AGAIN_SINCE = 7;

export const sendsAgain = ({ protocol }: Pick<AgentSession, "protocol">): boolean => protocol >= SENDS_AGAIN_SINCE;

/** Tells an agent what the store has of its reports of a run, so that it sends all else. @throws what the store throws */
export async function tellStored(store: Store, session: AgentSession, runId: string): Promise<void> {
  if (!sendsAgain(session)) return;
  const stints = await store.reports.stints(runId, session.name);
  session.send({
    kind: "stored",
    runId,
    stints: stints.map(({ stint, keptNumber }) => ({ stint, lastNumber: keptNumber })),
  });
}
