import type { ConsoleAgent } from "@dyetrace/wire/console/console-agent";
import { useAsked } from "./use-asked.tsx";

/** Bringing an agent to the controller's version. */
export function AgentCare(props: { readonly agent: ConsoleAgent; readonly controllerVersion: string | null }) {
  const { agent, controllerVersion } = props;
  const { ask, note } = useAsked();
  if (controllerVersion === null || agent.version === controllerVersion) return null;
  return (
    <div class="agent-care">
      {agent.allowsUpgrade ? (
        <button
          type="button"
          class="press small"
          onClick={() => ask(`/api/agents/${encodeURIComponent(agent.name)}/upgrade`, "POST", "Upgraded")}
        >
          Upgrade to {controllerVersion}
        </button>
      ) : (
        <p class="small soft">Its host lets no controller upgrade it: paste the line for new agents there.</p>
      )}
      {note}
    </div>
  );
}
