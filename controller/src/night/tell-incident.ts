import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { ReportIncident } from "@dyetrace/wire";
import { counted, type IncidentFacts, listed } from "./incident-facts.ts";
import type { IncidentKind } from "./incident-kinds.ts";

/** How an incident is told whose place needs no reasoning. */
interface Telling {
  readonly title: (facts: IncidentFacts) => string;
  /** True: the agents' own hosts are the place. */
  readonly isAtHosts: boolean;
}

const TELLINGS: Readonly<Record<Exclude<IncidentKind, "loss">, Telling>> = {
  "host-loss": {
    title: ({ who, base, lasted }) =>
      `${who} dropped ${counted(base.count, "packet")} inside the host within ${lasted}`,
    isAtHosts: true,
  },
  duplicates: {
    title: ({ who, base, lasted }) =>
      `${counted(base.count, "packet")} of ${listed(base.streams)} came more than once to ${who} within ${lasted}`,
    isAtHosts: false,
  },
  reordered: {
    title: ({ who, base, lasted }) =>
      `${counted(base.count, "packet")} of ${listed(base.streams)} came out of their order to ${who} within ${lasted}`,
    isAtHosts: false,
  },
  source: {
    title: ({ who, lasted, detail }) =>
      `Source ${who} did not send as planned for ${lasted}${detail === "" ? "" : ` (${detail})`}`,
    isAtHosts: true,
  },
  away: {
    title: ({ who, lasted }) => `${who} did not work for ${lasted}: what happened there meanwhile is not known`,
    isAtHosts: false,
  },
  restart: {
    title: ({ who, lasted }) => `The agent of ${who} was restarted: ${lasted} were not measured`,
    isAtHosts: false,
  },
  "no-control": {
    title: ({ who, base, lasted }) =>
      base.agents.length === 0
        ? `The controller was away for ${lasted}; the agents went on and nothing is missing`
        : `No connection between the controller and ${who} for ${lasted}; measuring went on`,
    isAtHosts: false,
  },
  link: {
    title: ({ who, base, lasted }) =>
      `The link of ${who} went down or came up, ${base.count === 1 ? "once" : `${base.count} times`} within ${lasted}`,
    isAtHosts: true,
  },
  "clock-step": {
    title: ({ who }) => `The clock of ${who} was set; measuring does not use it`,
    isAtHosts: false,
  },
  "querier-change": { title: ({ detail }) => detail, isAtHosts: false },
  dropped: {
    title: ({ who, base }) =>
      `${who} had no room for ${counted(base.count, "report")} and dropped ${base.count === 1 ? "it" : "them"}`,
    isAtHosts: false,
  },
};

export function tellIncident(
  kind: Exclude<IncidentKind, "loss">,
  facts: IncidentFacts,
  graph: SiteGraph,
): ReportIncident {
  const { title, isAtHosts } = TELLINGS[kind];
  const suspects = isAtHosts ? facts.base.agents.map((agent) => hostOfAgent(graph, agent) ?? agent) : [];
  return { kind, ...facts.base, suspects, title: title(facts) };
}
