import type { ConsoleAgent } from "@dyetrace/wire/console/console-agent";
import { type HostCheck, hostChecks } from "./host-checks.ts";

export interface RankedAgent {
  readonly agent: ConsoleAgent;
  readonly checks: readonly HostCheck[];
  /** Checks that are not good. */
  readonly troubles: readonly HostCheck[];
}

/** Agents with what spoils a run first, then those that see least, then by name. Pure. */
export function rankAgents(agents: readonly ConsoleAgent[], controllerVersion: string | null): readonly RankedAgent[] {
  const weightOf = ({ troubles }: RankedAgent): number =>
    troubles.reduce((sum, { status }) => sum + (status === "spoils" ? 1000 : 1), 0);
  return agents
    .map((agent) => {
      const checks = hostChecks(agent, controllerVersion);
      return { agent, checks, troubles: checks.filter(({ status }) => status !== "good") };
    })
    .toSorted((a, b) => weightOf(b) - weightOf(a) || byName.compare(a.agent.name, b.agent.name));
}

/** `kiosk-2` before `kiosk-10`. */
const byName = new Intl.Collator("en", { numeric: true });

export interface CommonTrouble {
  readonly trouble: HostCheck;
  readonly names: readonly string[];
}

/** What there is to look at, with the agents of which it is so: what spoils a run first, then what concerns most. Pure. */
export function troublesInCommon(ranked: readonly RankedAgent[]): readonly CommonTrouble[] {
  const groups = new Map<string, { trouble: HostCheck; names: string[] }>();
  for (const { agent, troubles } of ranked) {
    for (const trouble of troubles) {
      const key = `${trouble.name} ${trouble.says}`;
      const known = groups.get(key);
      if (known === undefined) groups.set(key, { trouble, names: [agent.name] });
      else known.names.push(agent.name);
    }
  }
  const isSpoiling = ({ trouble }: CommonTrouble): number => (trouble.status === "spoils" ? 1 : 0);
  return [...groups.values()].toSorted((a, b) => isSpoiling(b) - isSpoiling(a) || b.names.length - a.names.length);
}

export const sayChecks = ({ checks, troubles }: RankedAgent): string =>
  troubles.length === 0
    ? `all ${checks.length} checks good`
    : `${troubles.length} of ${checks.length} checks to look at`;
