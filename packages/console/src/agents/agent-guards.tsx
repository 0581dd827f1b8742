import { formatCount, formatDurationNs, formatRateBps, type Guards, RESERVED_GROUPS_TEXT } from "@dyetrace/wire";

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
        <dd>up to {formatCount(guards.maxPacketsPerSecond)} a second</dd>
        <dt>streams</dt>
        <dd>up to {guards.maxStreams} at once</dd>
        <dt>DSCP</dt>
        <dd>{guards.maxDscp === 0 ? "best effort only" : `up to ${guards.maxDscp}`}</dd>
        <dt>a run</dt>
        <dd>up to {formatDurationNs(guards.maxDurationNs)}</dd>
        <dt>alone</dt>
        <dd>up to {formatDurationNs(guards.maxHoldNs)} without a word from the controller</dd>
        <dt>groups</dt>
        <dd>{guards.allowedGroups.join(", ")}</dd>
        <dt>ports</dt>
        <dd>{guards.allowedPorts.join(", ")}</dd>
        <dt>never</dt>
        <dd>{[...guards.refusedGroups, ...reservedBy(guards)].join(", ") || "nothing is left out"}</dd>
        <dt>companions</dt>
        <dd>{companionsOf(guards)}</dd>
        <dt>joins</dt>
        <dd>
          up to {guards.maxJoins} of {guards.allowedJoins.join(", ") || "no group"}
        </dd>
      </dl>
      <p class="small soft">Only the host's own file changes these, never a controller.</p>
    </details>
  );
}

function reservedBy({ allowedReservedGroups, refuseReservedAliases }: Guards): string[] {
  const allowed = allowedReservedGroups.join(", ");
  const but = allowed === "" ? "" : ` (but ${allowed} may be sent to)`;
  return [
    `${RESERVED_GROUPS_TEXT}${but}`,
    ...(refuseReservedAliases ? ["and aliases of 01:00:5e:00:00:xx and 33:33:00:00:00:xx"] : []),
  ];
}

const companionsOf = ({ companionHosts, companionPorts, maxCompanions }: Guards): string =>
  companionHosts.length === 0 || maxCompanions === 0
    ? "none"
    : `up to ${maxCompanions}, to ${companionHosts.join(", ")}, ports ${companionPorts.join(", ")}`;
