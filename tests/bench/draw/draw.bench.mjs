/**
 * How much of a site is found: `node tests/bench/draw/draw.bench.mjs`. Observations are worked out from plans
 * (`simulate-observations.ts`); counted are the plan's links that the drawing has, those that it asks about, and those that are wrong.
 */
import { readFileSync } from "node:fs";
import { drawSite, loadSitePlan } from "@dyetrace/site";
import { campus, linkText, simulateObservations } from "../../../packages/site/dist/draw/simulate-observations.js";

const demo = (name) =>
  loadSitePlan(readFileSync(new URL(`../../../packages/practice/demo/${name}`, import.meta.url)), name);
const SITES = [
  ["demo plan", demo("quillfen.yaml")],
  ["VLAN plan", demo("quillfen-vlans.yaml")],
  ["campus of 20 switches", campus()],
];
const talkers = (plan) =>
  [...plan.nodes.values()].flatMap(({ name, kind }) => (kind === "host" || kind === "unmanaged" ? [] : [name]));
/** A host's own port is nowhere announced. */
const text = (link) => linkText(link).replace("wlan0", "eth0");

function measure(plan, silent, options) {
  const startedAt = performance.now();
  const drawing = drawSite(simulateObservations(plan, silent, options), plan.name);
  const tookMs = performance.now() - startedAt;
  const planned = new Set(plan.links.map(text));
  const invented = new Set(drawing.nodes.filter(({ by }) => by !== "seen").map(({ name }) => name));
  const plain = drawing.links.filter(({ a, b, by }) => by !== "open" && !invented.has(a.node) && !invented.has(b.node));
  const right = plain.filter((link) => planned.has(text(link))).length;
  const asked = drawing.links.length - plain.length;
  return {
    share: right / plan.links.length,
    asked,
    wrong: plain.length - right,
    questions: drawing.questions.length,
    tookMs,
  };
}

const rows = SITES.flatMap(([site, plan]) => [
  [site, "all switches talk", measure(plan, new Set(), {})],
  ...[0, 1, 2].map((first) => [
    site,
    `a third silent (${first + 1} of 3)`,
    measure(plan, new Set(talkers(plan).filter((_, index) => index % 3 === first)), {}),
  ]),
  [site, "agents alone", measure(plan, new Set(), { reads: false })],
]);
for (const [site, what, { share, asked, wrong, questions, tookMs }] of rows) {
  const found = `${(100 * share).toFixed(0).padStart(3)} % of the links`;
  process.stdout.write(
    `${site.padEnd(22)} ${what.padEnd(24)} ${found}, ${asked} at something asked about, ${wrong} wrong, ${questions} questions, ${tookMs.toFixed(0)} ms\n`,
  );
}
if (rows.some(([, , { wrong }]) => wrong > 0)) process.exitCode = 1;
