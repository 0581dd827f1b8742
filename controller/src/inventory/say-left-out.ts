import type { AgentLook } from "./agent-look.ts";

/** What an inventory does not have although it was there, in sentences without full stop; the same of many agents in one. */
export const sayWhatIsLeftOut = (looks: readonly AgentLook[]): string[] => [
  ...sayWhoDidNotLook(looks),
  ...looks.flatMap(({ agent, sight }) => {
    if (sight === null) return [];
    const { flows, furtherFrames, asks, furtherAsks, dropped, isWhole, lookedNs } = sight;
    return [
      ...(furtherFrames > 0
        ? [
            `${agent} lists ${counted(flows.length, "sender")}; ${counted(furtherFrames, "frame")} of further ones came, which are not listed`,
          ]
        : []),
      ...(furtherAsks > 0
        ? [
            `${agent} lists ${counted(asks.length, "request")} for groups; ${counted(furtherAsks, "message")} about further ones came`,
          ]
        : []),
      ...(dropped > 0
        ? [`${agent}'s host dropped ${counted(dropped, "frame")} before counting: rates there are lower bounds`]
        : []),
      ...(isWhole ? [] : [`${agent}'s interface went down: it watched ${(lookedNs / 1e9).toFixed(1)} s`]),
    ];
  }),
  ...sayWhoseMembershipIsUnknown(looks),
];

function sayWhoDidNotLook(looks: readonly AgentLook[]): string[] {
  const byReason = new Map<string, string[]>();
  for (const { agent, sight, why } of looks) {
    if (sight === null) byReason.set(why, [...(byReason.get(why) ?? []), agent]);
  }
  return [...byReason].map(([why, [first = "", ...others]]) =>
    others.length === 0
      ? `${first} did not look: ${why}`
      : `${others.length + 1} agents did not look: ${nameSome([first, ...others])}. The reason at each: ${why}`,
  );
}

function sayWhoseMembershipIsUnknown(looks: readonly AgentLook[]): string[] {
  const agents = looks.flatMap(({ agent, sight }) => (sight !== null && sight.joined === null ? [agent] : []));
  if (agents.length === 0) return [];
  return agents.length === 1
    ? [`Which groups ${agents[0]}'s host is a member of is unknown`]
    : [`Which groups the hosts of ${nameSome(agents)} are members of is unknown`];
}

const MOST_NAMED = 8;

const nameSome = (names: readonly string[]): string =>
  names.length <= MOST_NAMED
    ? `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`
    : `${names.slice(0, MOST_NAMED).join(", ")} and ${names.length - MOST_NAMED} more`;

const counted = (count: number, what: string): string => `${count} ${what}${count === 1 ? "" : "s"}`;
