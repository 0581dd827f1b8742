/**
 * The report's look: the console's chalk by day and deep water by night, and on paper always chalk, without a drop of
 * colour being needed.
 */
export const HTML_STYLE = `
:root { color-scheme: light dark; --paper: #fafcf9; --wash: #eef2ef; --ink: #10222b; --quiet: #465962; --line: #c5d0cd; --bank: #7d9097; --bad: #9c0a56; --good: #1f5d52; --doubt: #8a4500; --whole: #b9ccca; --on-bad: #fff; }
@media screen and (prefers-color-scheme: dark) { :root { --paper: #0f1f27; --wash: #08141a; --ink: #e6efec; --quiet: #a9bcc0; --line: #2d444e; --bank: #6c858e; --bad: #ff86bd; --good: #8fd0c0; --doubt: #f0a24c; --whole: #35525b; --on-bad: #17040d; } }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 72rem; padding: 1.5rem; color: var(--ink); background: var(--paper); font: 15px/1.45 Seravek, "Gill Sans Nova", Ubuntu, Cantarell, Calibri, "DejaVu Sans Condensed", "Segoe UI", sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.7rem; line-height: 1.2; margin: 0 0 .4rem; } h2 { font-size: 1.15rem; margin: 2rem 0 .6rem; border-bottom: 1px solid var(--line); padding-bottom: .2rem; }
p { margin: .3rem 0; } code, pre { font: 12px/1.4 ui-monospace, "DejaVu Sans Mono", monospace; } pre { background: var(--wash); padding: .7rem; overflow-x: auto; white-space: pre-wrap; overflow-wrap: anywhere; } dd code { margin-right: .6rem; overflow-wrap: anywhere; }
.quiet { color: var(--quiet); font-size: 13px; } .verdict { display: inline-block; margin-right: .6rem; border: 2px solid; padding: .1rem .7rem; font-weight: 700; font-size: 1.2rem; }
.pass { color: var(--good); } .fail { color: var(--bad); } .inconclusive, .could-not-run { color: var(--doubt); border-style: dashed; }
.finding { --tone: var(--bad); border: 1px solid var(--line); border-left: .4rem solid var(--tone); padding: .7rem 1rem; margin: .7rem 0; break-inside: avoid; }
.finding h3 { margin: 0 0 .4rem; font-size: 1.05rem; line-height: 1.3; } .finding .kind { margin-right: .4em; border: 1px solid; padding: 0 .4em; font-size: .75rem; font-weight: 600; letter-spacing: .05em; text-transform: uppercase; } .finding .number { display: inline-block; min-width: 1.5em; margin-right: .3em; text-align: center; border-radius: 1em; color: var(--on-bad); background: var(--tone); }
.finding.undecided, .finding.blames-host { --tone: var(--doubt); } .finding.informs { --tone: var(--quiet); }
dl { display: grid; grid-template-columns: 6rem minmax(0, 1fr); gap: .2rem .8rem; margin: .3rem 0; } dt { color: var(--quiet); } dd { margin: 0; } dd p:first-child { margin-top: 0; }
table { border-collapse: collapse; width: 100%; font-size: 13px; font-variant-numeric: tabular-nums; } th, td { text-align: left; padding: .25rem .8rem .25rem 0; border-bottom: 1px solid var(--line); vertical-align: top; }
th { color: var(--quiet); font-weight: 600; white-space: nowrap; } td.number, th.number { text-align: right; white-space: nowrap; } tr { break-inside: avoid; } .scroll { overflow-x: auto; }
svg { display: block; width: 100%; height: auto; } .run-map svg.site-picture { width: min(100%, calc(1.35 * var(--drawn))); min-width: min(36rem, calc(.8 * var(--drawn))); max-height: 48rem; margin: 0 auto; } .run-map { background: var(--sheet); } .run-map .map-patterns { position: absolute; } .run-map ul { list-style: none; padding: 0; margin: 0; } .run-map .key { padding: 0 1rem 1rem; }
svg.strip { width: 220px; height: 16px; border: 1px solid var(--line); background: var(--wash); } svg.night { width: 100%; min-width: 12rem; height: 22px; }
h3 { font-size: 1rem; margin: 1rem 0 .3rem; } table.strips td { border: 0; padding-top: .1rem; padding-bottom: .1rem; vertical-align: middle; } td.wide { width: 75%; padding-right: 0; } .axis { position: relative; height: 1.2rem; } .axis span { position: absolute; border-left: 1px solid var(--bank); padding-left: .2rem; font-size: 11px; color: var(--quiet); } .axis .last { transform: translateX(-100%); border-left: 0; border-right: 1px solid var(--bank); padding: 0 .2rem 0 0; } svg.night-patterns { position: absolute; width: 0; height: 0; } .night-patterns .whole { fill: var(--wash); } .night-patterns .partly { fill: var(--doubt); }
.strip .loss { fill: var(--bad); } .strip .value { fill: var(--ink); } .strip .limit { fill: var(--doubt); } .strip .whole { fill: var(--whole); }
@media screen and (max-width: 40rem) { body { padding: 1rem; } .scroll table { min-width: 46rem; } .scroll table.strips, .scroll table.worst { min-width: 0; } .worst tr { display: grid; grid-template-columns: 4.8rem 4.8rem 1fr; border-bottom: 1px solid var(--line); } .worst td, .worst th { border: 0; } .worst :is(td, th):last-child { grid-column: 1 / -1; padding-top: 0; } .strips td { padding-right: .4rem; } td.wide { width: 60%; } svg.night { min-width: 6rem; } .axis span:nth-child(even) { display: none; } dl { grid-template-columns: minmax(0, 1fr); } dt { margin-top: .4rem; } }
@page { size: A4; margin: 15mm; }
@media print { :root { --paper: #fff; } .quiet { font-size: 10px; } body { padding: 0; max-width: none; font-size: 11px; } h2 { break-after: avoid; } table { font-size: 10px; } th { white-space: normal; } td, th { padding-right: .5rem; } .run-map svg.site-picture { min-width: 0; } svg.strip:not(.night) { width: 110px; } .scroll { overflow: visible; } a { color: inherit; text-decoration: none; } * { -webkit-print-color-adjust: exact; print-color-adjust: exact; } }
`;
