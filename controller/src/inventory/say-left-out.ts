import type { AgentLook } from "./agent-look.ts";

/** What an inventory does not have although it was there, in sentences without full stop. */
export const sayWhatIsLeftOut = (looks: readonly AgentLook[]): string[] =>
  looks.flatMap(({ agent, sight, why }) => {
    if (sight === null) return [`${agent} did not look: ${why}`];
    const { flows, furtherFrames, asks, furtherAsks, dropped, isWhole, lookedNs, joined } = sight;
    return [
      ...(furtherFrames > 0
        ? [`${agent} lists ${flows.length} senders; ${furtherFrames} frames were of further ones, which are not listed`]
        : []),
      ...(furtherAsks > 0
        ? [`${agent} lists ${asks.length} requests for groups; ${furtherAsks} messages were about further ones`]
        : []),
      ...(dropped > 0
        ? [`${agent}'s host dropped ${dropped} frames before they were counted: rates there are lower bounds`]
        : []),
      ...(isWhole ? [] : [`${agent}'s interface went down: it watched ${(lookedNs / 1e9).toFixed(1)} s`]),
      ...(joined === null ? [`Which groups ${agent}'s host is a member of is unknown`] : []),
    ];
  });
