import type { ConsoleAgent, EnrolledAgent } from "@dyetrace/wire/console/console-agent";
import { useEffect, useState } from "preact/hooks";
import { AddAgent } from "../agents/add-agent.tsx";
import { AgentList } from "../agents/agent-list.tsx";
import { CredentialCare } from "../agents/credential-care.tsx";
import { credentialWords } from "../agents/credential-words.ts";
import { EnrolAgent } from "../agents/enrol-agent.tsx";
import { MissingAgents } from "../agents/missing-agents.tsx";
import { Operators } from "../agents/operators.tsx";
import { ProgramTokens } from "../agents/program-tokens.tsx";
import { askController } from "../link/ask-controller.ts";
import { formatDay, nameSome } from "../parts/format.ts";
import { agents, plan } from "../state/console-state.ts";

/** Who is connected, what each can do, and how to bring one more in. */
export function AgentsPage() {
  const connected = agents.value;
  const [enrolled, loadEnrolled] = useEnrolled(connected);
  if (connected === null) {
    return <p class="empty">Which agents are connected is unknown until the controller answers again.</p>;
  }
  const planned = plan.value?.drawing.nodes.flatMap(({ agent }) => agent ?? []) ?? [];
  const missing = planned.filter((name) => !connected.some((agent) => agent.name === name));
  const strangers = connected.filter(({ name }) => planned.length > 0 && !planned.includes(name));
  return (
    <div class="agents-page">
      <p class="lead">
        <b>{connected.length}</b> connected
        {planned.length > 0 && (
          <>
            , of <b>{planned.length}</b> on the plan
          </>
        )}
        .{strangers.length > 0 && ` Not on the plan: ${nameSome(strangers.map(({ name }) => name))}.`}
      </p>
      {plan.value !== null && <MissingAgents missing={missing} drawing={plan.value.drawing} />}
      <AgentList
        connected={connected}
        credentialOf={(name) => credentialIn(enrolled, name, connected)}
        onDone={loadEnrolled}
      />
      <AwayAgents
        away={enrolled.list.filter(({ name }) => !connected.some((agent) => agent.name === name))}
        onDone={loadEnrolled}
      />
      <EnrolAgent />
      <AddAgent />
      <Operators />
      <ProgramTokens />
    </div>
  );
}

/** Agents with a credential of their own, as the controller told it when these were connected. */
interface Enrolled {
  readonly list: readonly EnrolledAgent[];
  readonly of: readonly ConsoleAgent[] | null;
}

/** Asked at every change of who is connected; and what asks anew. */
function useEnrolled(connected: readonly ConsoleAgent[] | null): readonly [Enrolled, () => void] {
  const [enrolled, setEnrolled] = useState<Enrolled>({ list: [], of: null });
  const load = (): void => {
    askController<readonly EnrolledAgent[]>("/api/enrolled").then(
      (list) => setEnrolled({ list, of: connected }),
      () => {},
    );
  };
  useEffect(() => {
    if (connected !== null) load();
  }, [connected]);
  return [enrolled, load];
}

/** @returns null where it has none of its own; undefined where the controller has not said yet */
function credentialIn(
  { list, of }: Enrolled,
  name: string,
  connected: readonly ConsoleAgent[],
): EnrolledAgent | null | undefined {
  return list.find((one) => one.name === name) ?? (of === connected ? null : undefined);
}

/** Hosts that are enrolled and not connected: switched off, or lost. */
function AwayAgents({ away, onDone }: { readonly away: readonly EnrolledAgent[]; readonly onDone: () => void }) {
  if (away.length === 0) return null;
  return (
    <section class="add-agent" aria-labelledby="away-agents">
      <h2 id="away-agents">Enrolled and not connected</h2>
      <ul class="tokens">
        {away.map((agent) => (
          <li key={agent.name}>
            <b>{agent.name}</b>
            <span>credential {credentialWords(agent)}</span>
            <span class="small soft">
              enrolled {formatDay(agent.since)} from {agent.from}
            </span>
            <CredentialCare enrolled={agent} onDone={onDone} />
          </li>
        ))}
      </ul>
    </section>
  );
}
