import type { AgentRegistry } from "../agents/agent-registry.ts";
import type { AgentSession } from "../agents/agent-session.ts";
import type { Store } from "../store/store.ts";
import type { RunRegistry } from "./run-registry.ts";

/** Shorter breaks are a reconnect and no news. */
const BREAK_MS = 1500;

/**
 * Notes when an agent of the run that is going on was without its controller: what it measured meanwhile comes later,
 * and the report tells why.
 */
export function watchControl(registry: AgentRegistry, runs: RunRegistry, store: Store, now: () => number): Disposable {
  const goneAtMs = new Map<string, number>();
  const onGone = (session: AgentSession): void => void goneAtMs.set(session.name, now());
  const onConnected = (session: AgentSession): void => {
    const sinceMs = goneAtMs.get(session.name);
    goneAtMs.delete(session.name);
    const runId = runs.ofAgent(session.name);
    if (sinceMs === undefined || runId === null || now() - sinceMs < BREAK_MS) return;
    void note(store, runId, session.name, sinceMs, now()).catch(() => undefined);
  };
  registry.on("gone", onGone);
  registry.on("connected", onConnected);
  return {
    [Symbol.dispose]: () => {
      registry.off("gone", onGone);
      registry.off("connected", onConnected);
    },
  };
}

async function note(store: Store, runId: string, agent: string, sinceMs: number, untilMs: number): Promise<void> {
  const record = await store.runs.find(runId);
  if (record?.start == null) return;
  const at = (wallMs: number): number => Math.max(0, (wallMs - (record.start?.wallMs ?? 0)) * 1e6);
  if (at(untilMs) === 0) return;
  await store.reports.addEpisodes(runId, [
    { kind: "no-control", agent, streamId: null, fromNs: at(sinceMs), toNs: at(untilMs), count: 1, detail: "" },
  ]);
}
