import type { SiteGraph } from "@dyetrace/site";
import { formatRateBps, formatRatio } from "@dyetrace/wire";
import type { PlanCheck } from "../plan/check-plan.ts";
import { drawSiteTree } from "./site-tree.ts";
import type { Paint } from "./terminal-paint.ts";

const MOST_LOADS = 8;

/** What `plan check` says to people: the tree with its ambiguity sets, the advice on groups, the loads. */
export function renderPlanCheck(check: PlanCheck, graph: SiteGraph, paint: Paint): string {
  const sets = check.coverage.ambiguousSets.filter((set) => set.length > 1);
  const letterOf = new Map(sets.flatMap((set, index) => set.map((id) => [id, letter(index)] as const)));
  const root = check.sources[0] ?? check.querier?.node ?? [...graph.nodes.keys()][0] ?? "";
  // Of what no part of the scenario has a known way, nothing can be said of what it tests.
  const isUnknown = check.sources.length === 0 && check.unplaced.length > 0;
  const lines = [
    "",
    `${paint(check.site, "strong")} · ${counted(check.nodes, "node")}, ${counted(check.agents, "agent")}`,
    querierLine(check),
    "",
    sets.length === 0
      ? `The site as seen from ${root}:`
      : `Seen from ${root}, a fault on a link marked with the same letter looks the same to these agents:`,
    ...drawSiteTree(graph, root).map(({ node, segment, branches }) => {
      const mark = letterOf.get(segment?.id ?? "") ?? letterOf.get(node);
      const port = segment === null ? "" : paint(` ${segment.from.port}>${segment.to.port}`, "quiet");
      return `  ${branches}${node}${port}${mark === undefined ? "" : `  ${paint(mark, "doubt")}`}`;
    }),
  ];
  if (check.unplaced.length > 0) lines.push("", unplacedLine(check));
  if (sets.length === 0 && !isUnknown) lines.push("", apartLine(check, paint));
  for (const [index, set] of sets.entries()) lines.push(`  ${paint(letter(index), "doubt")}  ${set.join(", ")}`);
  if (check.coverage.untested.length > 0 && !isUnknown)
    lines.push("", `Not tested by anyone: ${check.coverage.untested.join(", ")}`);
  if (check.coverage.nextAgentAt !== null && !isUnknown) {
    const bits = check.coverage.nextAgentGainBits;
    lines.push(
      "",
      `One more agent helps most at ${check.coverage.nextAgentAt}${bits === null ? "" : ` (${bits.toFixed(2)} bit)`}.`,
    );
  }
  if (check.groups.length > 0) {
    lines.push("", paint("Groups", "strong"));
    for (const { level, sentence, streams, reference } of check.groups) {
      lines.push(
        `  ${paint(level, level === "note" ? "quiet" : "bad")}  ${sentence} (${streams.join(", ")}; ${reference})`,
      );
    }
  }
  if (check.undecidable.length > 0) {
    lines.push("", paint("Expectations", "strong"));
    for (const { sentence } of check.undecidable) lines.push(`  ${paint("warn", "bad")}  ${sentence}.`);
  }
  if (check.loads.length > 0) {
    lines.push("", paint("Load on the wire, heaviest first", "strong"));
    for (const { segment, loadBps, utilisationRatio } of check.loads.slice(0, MOST_LOADS)) {
      const share = utilisationRatio === null ? "link speed unknown" : `${formatRatio(utilisationRatio)} of the link`;
      lines.push(`  ${segment}  ${formatRateBps(loadBps)}, ${share}`);
    }
    if (check.overload !== null) lines.push(`  ${paint("refuse", "bad")}  ${check.overload}. No such run begins.`);
  }
  if (check.bursts !== null) lines.push("", paint("Test bursts", "strong"), `  ${check.bursts}.`);
  if (check.air.length > 0) {
    lines.push("", paint("Over the air", "strong"));
    for (const { level, sentence, reference } of check.air) {
      lines.push(`  ${paint(level, level === "note" ? "quiet" : "bad")}  ${sentence} (${reference})`);
    }
    lines.push("  `dyetrace plan airtime` counts the same for other rates and modes.");
  }
  return `${lines.join("\n")}\n\n`;
}

const unplacedLine = ({ unplaced }: PlanCheck): string =>
  `The plan does not have the sender of ${unplaced.join(", ")}: which places ${unplaced.length === 1 ? "it tests" : "they test"} is known once ${unplaced.length === 1 ? "it is" : "they are"} seen.`;

const counted = (number: number, noun: string): string => `${number} ${noun}${number === 1 ? "" : "s"}`;

/** What can be said where no two places look the same, which is also so where nothing is tested at all. */
function apartLine({ sources, coverage: { pinned, untested } }: PlanCheck, paint: Paint): string {
  if (pinned.length === 0) {
    const why = sources.length === 0 ? "Nobody would send" : "Nobody would listen to what is sent";
    return paint(`${why}, so no place of this site is tested and no fault can be found.`, "bad");
  }
  if (untested.length === 0) return paint("Every place can be told from every other.", "good");
  return "Every place that is tested can be told from every other that is.";
}

function querierLine({ querier, furtherQueriers }: PlanCheck): string {
  if (querier === null) return "No node of this plan can be the querier.";
  return querier.isAssumed
    ? `The plan names no querier; ${querier.node} is taken, the node nearest the first source.`
    : `Querier: ${[querier.node, ...furtherQueriers].join(", ")}`;
}

/** a to z, then a2 to z2 and so on. */
const letter = (index: number): string =>
  `${String.fromCharCode(97 + (index % 26))}${index < 26 ? "" : Math.floor(index / 26) + 1}`;
