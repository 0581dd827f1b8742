import type { ConsoleAgent } from "@dyetrace/wire/console/console-agent";
import { useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";

/** Upgrading an agent, and taking its credential away. */
export function AgentCare(props: {
  readonly agent: ConsoleAgent;
  readonly controllerVersion: string | null;
  /** False: it came with the key that is the same for all. */
  readonly isEnrolled: boolean;
}) {
  const { agent, controllerVersion, isEnrolled } = props;
  const [says, setSays] = useState<string | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [isSure, setSure] = useState(false);
  const ask = (path: string, method: "POST" | "DELETE", done: string): void => {
    setRefusal(null);
    setSays("Asking …");
    askController<{ message?: string }>(path, { method, ...(method === "POST" ? { body: {} } : {}) }).then(
      ({ message }) => setSays(message ?? done),
      (error: unknown) => {
        setSays(null);
        setRefusal(asRefusal(error));
      },
    );
  };
  const path = encodeURIComponent(agent.name);
  const isOther = controllerVersion !== null && agent.version !== controllerVersion;
  return (
    <div class="agent-care">
      {isOther && agent.allowsUpgrade && (
        <button
          type="button"
          class="press small"
          onClick={() => ask(`/api/agents/${path}/upgrade`, "POST", "Upgraded")}
        >
          Upgrade to {controllerVersion}
        </button>
      )}
      {isOther && !agent.allowsUpgrade && (
        <p class="small soft">Its host lets no controller upgrade it: paste the line for new agents there.</p>
      )}
      {isEnrolled && (
        <button
          type="button"
          class="press small"
          onBlur={() => setSure(false)}
          onClick={() => (isSure ? ask(`/api/enrolled/${path}`, "DELETE", "Revoked") : setSure(true))}
        >
          {isSure ? `Really take ${agent.name} out?` : "Revoke"}
        </button>
      )}
      {says !== null && (
        <span class="small" role="status">
          {says}
        </span>
      )}
      {refusal !== null && <RefusalNote refusal={refusal} />}
    </div>
  );
}
