import type { AgentLook } from "./agent-look.ts";

/** What an inventory does not have although it was there, in sentences without full stop. */
export const sayWhatIsLeftOut = (looks: readonly AgentLook[]): string[] =>
  looks.flatMap(({ agent, sight, why }) => {
    if (sight === null) return [`${agent} did not look: ${why}`];
    const { flows, furtherFrames, asks, furtherAsks, dropped, isWhole, lookedNs, joined } = sight;
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
      ...(joined === null ? [`Which groups ${agent}'s host is a member of is unknown`] : []),
    ];
  });

const counted = (count: number, what: string): string => `${count} ${what}${count === 1 ? "" : "s"}`;
