import { formatRateBps } from "@dyetrace/wire";
import type { ConsoleAgent, EnrolledAgent } from "@dyetrace/wire/console/console-agent";
import { useState } from "preact/hooks";
import { nameSome } from "../parts/format.ts";
import { useFirst } from "../parts/use-first.tsx";
import { version } from "../state/console-state.ts";
import { AgentCard } from "./agent-card.tsx";
import { type RankedAgent, rankAgents, sayChecks, troublesInCommon } from "./rank-agents.ts";

/** More are a line each, to be opened. */
const FEW = 12;
const MOST_LINES = 24;
const MOST_TROUBLES = 6;
const MOST_NAMED = 6;

interface AgentListProps {
  readonly connected: readonly ConsoleAgent[];
  readonly credentialOf: (name: string) => EnrolledAgent | null | undefined;
  readonly onDone: () => void;
}

/** Who is connected, the worst first: a few as cards, many as lines below what they have in common. */
export function AgentList({ connected, credentialOf, onDone }: AgentListProps) {
  const [search, setSearch] = useState("");
  const ranked = rankAgents(connected, version.value);
  const wanted = search.trim().toLowerCase();
  const found = ranked.filter(({ agent }) => agent.name.toLowerCase().includes(wanted));
  const { shown, more } = useFirst(found, MOST_LINES);
  const card = (one: RankedAgent) => <AgentCard ranked={one} enrolled={credentialOf(one.agent.name)} onDone={onDone} />;
  if (connected.length <= FEW) {
    return (
      <ul class="agent-list">
        {ranked.map((one) => (
          <li key={one.agent.name} class="agent">
            <h2>{one.agent.name}</h2>
            {card(one)}
          </li>
        ))}
      </ul>
    );
  }
  return (
    <section class="many-agents" aria-labelledby="many-agents">
      <h2 id="many-agents">Connected, the worst first</h2>
      <CommonTroubles ranked={ranked} />
      <label class="field">
        <span>Find an agent</span>
        <input type="search" value={search} onInput={(event) => setSearch(event.currentTarget.value)} />
      </label>
      {found.length === 0 && <p role="status">No connected agent has that in its name.</p>}
      <ul class="agent-lines">
        {shown.map((one) => (
          <AgentLine key={one.agent.name} ranked={one} card={() => card(one)} />
        ))}
      </ul>
      {more}
    </section>
  );
}

function CommonTroubles({ ranked }: { readonly ranked: readonly RankedAgent[] }) {
  const common = troublesInCommon(ranked);
  if (common.length === 0) return <p>All checks are good at each of them.</p>;
  return (
    <ul class="checks">
      {common.slice(0, MOST_TROUBLES).map(({ trouble, names }) => (
        <li key={`${trouble.name} ${trouble.says}`} class={trouble.status}>
          <span class="sign" aria-hidden="true">
            {trouble.status === "limits" ? "◐" : "○"}
          </span>
          <span>
            {trouble.name}: {trouble.says}
            <br />
            <span class="soft">
              {names.length === ranked.length
                ? `at all ${names.length} of them`
                : `at ${names.length} of ${ranked.length}: ${nameSome(names, MOST_NAMED)}`}
            </span>
          </span>
        </li>
      ))}
      {common.length > MOST_TROUBLES && <li class="soft">and {common.length - MOST_TROUBLES} more</li>}
    </ul>
  );
}

/** One agent in a line. Its card is made when it is opened. */
function AgentLine({ ranked, card }: { readonly ranked: RankedAgent; readonly card: () => preact.VNode }) {
  const [isOpen, setOpen] = useState(false);
  const { name, ipv4, speedBps } = ranked.agent.capabilities.interface;
  return (
    <li>
      <details onToggle={(event) => setOpen(event.currentTarget.open)}>
        <summary>
          <b>{ranked.agent.name}</b>
          <span class="soft">
            {[name, ipv4 ?? "no IPv4 address", speedBps === null ? "speed unknown" : formatRateBps(speedBps)].join(
              ", ",
            )}
          </span>
          <span>{sayChecks(ranked)}</span>
        </summary>
        {isOpen && <div class="agent">{card()}</div>}
      </details>
    </li>
  );
}
