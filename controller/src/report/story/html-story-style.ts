/** The story's picture in the report's own inks; every sign differs in shape as well, so that it reads on paper without colour. */
export const STORY_STYLE = `
svg.story-picture { min-width: 44rem; } .story-picture text { font-size: 12px; fill: var(--ink); paint-order: stroke; stroke: var(--paper); stroke-width: 3px; }
.story-picture .story-name { font-size: 13px; font-weight: 600; } .story-picture .story-group { font-family: Palatino, P052, Georgia, serif; font-style: italic; fill: var(--quiet); } .story-picture .story-note { font-size: 10.5px; fill: var(--quiet); } .story-picture .story-axis { font-size: 11px; fill: var(--quiet); }
.story-rule, .story-grid { fill: none; stroke: var(--line); stroke-width: .7; } .story-grid { stroke-dasharray: 1 4; } .story-grid.start { stroke: var(--bank); stroke-dasharray: none; }
.story-mark { fill: var(--paper); stroke: var(--ink); stroke-width: 1.3; } .story-mark.group-query, .story-mark.report { fill: var(--ink); } .story-mark.asks-join, .story-mark.asks-leave { fill: none; stroke: var(--bank); }
.story-thread { fill: none; stroke: var(--bank); stroke-width: .6; stroke-opacity: .6; } .story-knot { fill: none; stroke: var(--bank); stroke-width: 2.4; }
.story-run { fill: var(--bank); fill-opacity: .16; } .story-edge { fill: none; stroke: var(--bank); stroke-width: 1; } .story-end { fill: none; stroke: var(--bad); stroke-width: 2; }
.last-member .story-run { fill: var(--doubt); fill-opacity: .25; } .last-member .story-edge { stroke: var(--doubt); } .last-member .story-end { stroke: var(--doubt); } .other-querier .story-run { fill: none; } .other-querier .story-edge { stroke-dasharray: 3 2; }
.story-readings, .story-gone { fill: none; stroke: var(--ink); stroke-width: 1.7; }
.story-data { stroke-width: 1; } .story-data.sent { fill: var(--bank); } .story-data.received { fill: var(--bad); } .story-data.seen { fill: var(--paper); stroke: var(--doubt); stroke-dasharray: 3 2; }
.story-key { display: flex; flex-wrap: wrap; gap: .2rem 1.2rem; margin: .4rem 0; padding: 0; list-style: none; font-size: 12px; color: var(--quiet); } .story-key li { display: flex; align-items: center; gap: .4rem; } .story-key svg { flex: none; width: 34px; height: 16px; }
.story h3 { margin: 1.4rem 0 .4rem; font-size: 1rem; }
@media print { svg.story-picture { min-width: 0; break-inside: avoid; } .story-key { font-size: 9px; } }
`;
