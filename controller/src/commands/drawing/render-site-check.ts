import type { SiteCheck } from "@dyetrace/site";
import type { Paint } from "../../report/terminal-paint.ts";

/** What `plan check --against-site` says to people. */
export function renderSiteCheck({ contradictions, hosts, links }: SiteCheck, paint: Paint): string {
  const lines = contradictions.flatMap(({ sentence, effect }) => [
    `  ${paint("differs", "bad")}  ${sentence}.`,
    `           ${effect}.`,
  ]);
  const seen = `${hosts.checked} of ${hosts.of} hosts and ${links.checked} of ${links.of} links were held against what was seen`;
  const verdict =
    contradictions.length === 0
      ? `Nothing that was seen contradicts the plan; ${seen}.`
      : `${contradictions.length} ${contradictions.length === 1 ? "difference" : "differences"}; ${seen}.`;
  return `\n${paint("The plan against the site", "strong")}\n${[...lines, verdict].join("\n")}\n`;
}
