/** The report's look: on a screen, and on paper without a drop of colour being needed. */
export const HTML_STYLE = `
:root { --ink: #1b2226; --quiet: #5d6a71; --line: #cfd8dc; --paper: #fff; --wash: #f4f7f8; --good: #1c6e4a; --bad: #9b2263; --doubt: #8a5a00; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 72rem; padding: 1.5rem; color: var(--ink); background: var(--paper); font: 15px/1.45 system-ui, sans-serif; }
h1 { font-size: 1.6rem; margin: 0 0 .2rem; } h2 { font-size: 1.15rem; margin: 2rem 0 .6rem; border-bottom: 1px solid var(--line); padding-bottom: .2rem; }
p { margin: .3rem 0; } code, pre { font: 12px/1.4 ui-monospace, monospace; } pre { background: var(--wash); padding: .7rem; overflow-x: auto; white-space: pre-wrap; }
.quiet { color: var(--quiet); } .verdict { display: inline-block; border: 2px solid; border-radius: .4rem; padding: .1rem .7rem; font-weight: 700; font-size: 1.2rem; }
.pass { color: var(--good); } .fail { color: var(--bad); } .inconclusive, .could-not-run { color: var(--doubt); }
.finding { border: 1px solid var(--line); border-left: .4rem solid var(--bad); border-radius: .3rem; padding: .6rem .9rem; margin: .7rem 0; break-inside: avoid; }
.finding h3 { margin: 0 0 .3rem; font-size: 1rem; } .finding .number { display: inline-block; min-width: 1.5em; text-align: center; border-radius: 1em; color: #fff; background: var(--bad); }
dl { display: grid; grid-template-columns: 7rem 1fr; gap: .2rem .8rem; margin: .3rem 0; } dt { color: var(--quiet); } dd { margin: 0; }
table { border-collapse: collapse; width: 100%; font-size: 13px; } th, td { text-align: left; padding: .25rem .6rem .25rem 0; border-bottom: 1px solid var(--line); vertical-align: top; }
th { color: var(--quiet); font-weight: 600; } td.number, th.number { text-align: right; font-variant-numeric: tabular-nums; } tr { break-inside: avoid; } .scroll { overflow-x: auto; }
svg { display: block; width: 100%; height: auto; } svg.map text { text-anchor: middle; font: 12px system-ui, sans-serif; fill: var(--ink); } svg.map .note { font-size: 9px; fill: var(--quiet); }
.map .node rect { fill: var(--wash); stroke: #90a0a8; } .map .node.host rect { fill: #fff; } .map .node.marked rect { stroke: var(--bad); stroke-width: 3; stroke-dasharray: 5 3; }
.map .link { fill: none; stroke: #90a0a8; stroke-width: 1.5; } .map .link.spare { stroke-dasharray: 2 4; } .map .link.marked { stroke: var(--bad); stroke-width: 4; stroke-dasharray: 7 4; }
.map .badge rect { fill: var(--bad); } .map .badge text { fill: #fff; font-weight: 700; }
svg.strip { width: 220px; height: 16px; border: 1px solid var(--line); background: var(--wash); } svg.night { width: 100%; height: 22px; }
.strip .loss { fill: var(--bad); } .strip .whole { fill: #cfe5da; }
@page { size: A4; margin: 15mm; }
@media print { body { padding: 0; max-width: none; font-size: 11px; } h2 { break-after: avoid; } table { font-size: 10px; } svg.strip:not(.night) { width: 110px; } td.number { white-space: nowrap; } .scroll { overflow: visible; } a { color: inherit; text-decoration: none; } * { -webkit-print-color-adjust: exact; print-color-adjust: exact; } }
`;
