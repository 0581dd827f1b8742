import { type DataPath, didYouMean, FileMistakes, type LoadedScenario, parseIpAddress, shown } from "@dyetrace/wire";
import { agentNames } from "../model/site-graph.ts";
import type { SiteGraph } from "../model/site-model.ts";

/**
 * Checks that the site has every agent that the scenario names, as source or listener.
 * @throws {Fault} SCENARIO_INVALID with the place in the scenario file of the first that it has not, the rest in `others`
 */
export function checkScenarioAgainstSite({ scenario, document }: LoadedScenario, site: SiteGraph): void {
  const known = new Set(agentNames(site));
  const mistakes = new FileMistakes(document);
  const checked = new Set<string>(); // repeats and copies stand at the same place
  const check = (agent: string, path: DataPath): void => {
    if (known.has(agent) || checked.has(path.join())) return;
    checked.add(path.join());
    mistakes.add(path, `The site plan has no agent "${shown(agent)}"`, () => hintFor(agent, site, [...known]));
  };
  for (const { source, production, entry } of scenario.streams) {
    if (production === undefined) check(source, ["streams", entry, "source"]);
    else if (production.from !== null) checkFrom(production.from, ["streams", entry, "from"], site, mistakes);
  }
  for (const action of scenario.timeline) {
    if (action.kind !== "join" && action.kind !== "watch" && action.kind !== "leave") continue;
    for (const [index, agent] of (action.agents ?? []).entries())
      check(agent, ["timeline", action.entry, "agents", index]);
  }
  mistakes.throwIfAny();
}

/** A sender is a node of the plan or an address: no agent is needed there. */
function checkFrom(from: string, path: DataPath, site: SiteGraph, mistakes: FileMistakes): void {
  if (site.nodes.has(from) || parseIpAddress(from) !== null) return;
  const hint = (): string =>
    didYouMean(from, [...site.nodes.keys()], `Add it to the plan: ${shown(from)}: { kind: host, agent: none }`);
  mistakes.add(path, `"${shown(from)}" is neither a node of the site plan nor an address`, hint);
}

function hintFor(name: string, site: SiteGraph, known: readonly string[]): string {
  const node = site.nodes.get(name);
  if (node === undefined) return didYouMean(name, known, `Agents: ${known.slice(0, 10).join(", ")}`);
  if (node.agent !== null) return `The agent on the host "${name}" is called "${node.agent}"`;
  return node.kind === "host"
    ? `The plan says that the host "${name}" carries none`
    : `"${name}" is no host: agents run on hosts`;
}
