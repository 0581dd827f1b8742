import { formatDurationNs, formatRateBps, type Guards } from "@dyetrace/wire";

/** What an agent's host lets it send at most. Only the host's own file changes it. */
export function AgentGuards({ guards }: { readonly guards: Guards }) {
  if (!guards.allowSending) {
    return (
      <p class="small soft">It only listens: its host's file, /etc/dyetrace/agent.yaml, does not allow sending.</p>
    );
  }
  return (
    <details>
      <summary>
        may send up to {formatRateBps(guards.maxRateBps)}, TTL up to {guards.maxTtl}
      </summary>
      <dl class="figures">
        <dt>packets</dt>
        <dd>up to {guards.maxPacketsPerSecond} a second</dd>
        <dt>streams</dt>
        <dd>up to {guards.maxStreams} at once</dd>
        <dt>DSCP</dt>
        <dd>{guards.maxDscp === 0 ? "best effort only" : `up to ${guards.maxDscp}`}</dd>
        <dt>a run</dt>
        <dd>up to {formatDurationNs(guards.maxDurationNs)}</dd>
        <dt>groups</dt>
        <dd>{guards.allowedGroups.join(", ")}</dd>
        <dt>never</dt>
        <dd>
          {guards.refusedGroups.join(", ")}
          {guards.refuseReservedAliases && ", and aliases of 01:00:5e:00:00:xx"}
        </dd>
      </dl>
      <p class="small soft">Only the host's own file changes these, never a controller.</p>
    </details>
  );
}
