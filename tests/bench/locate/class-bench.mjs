import { judgeCase, SIMULATED_CLASSES, SURE, seededRandom } from "./simulation.mjs";

/** Surely wrong in at most this share of a class's cases. */
const MOST_SURELY_WRONG = 0.01;
/** A bucket of stated confidence may promise this much more than came true. */
const MOST_OVERSTATED = 0.03;
/** With fewer findings a bucket's share is chance. */
const FEWEST_FINDINGS = 30;
const MOST_DRAWS = 1_000;

export const classNames = () => SIMULATED_CLASSES.map(({ name }) => name);

/**
 * Plays classes of worlds that are not as declared, and prints for each variant what was concluded.
 * @param only names of classes; empty for all
 * @param report as in the bench: what, measured, target, whether it is met
 */
export function playClasses({ cases, only, seed, report }) {
  const rows = [];
  const all = [];
  const kinds = new Map();
  for (const [number, one] of SIMULATED_CLASSES.entries()) {
    if (only.length > 0 && !only.includes(one.name)) continue;
    for (const [v, variant] of one.variants.entries()) {
      const random = seededRandom(seed * 100_000 + number * 100 + v);
      const judged = Array.from({ length: cases }, () => judgeCase(drawCase(one, variant, random)));
      for (const { findings } of judged) all.push(...findings.filter(({ isClaim }) => isClaim));
      rows.push(rowOf(one, variant, judged));
      kinds.set(`${one.name}, ${variant}`, sureKinds(judged));
      const wrong = judged.filter(({ verdict }) => verdict === "surely-wrong").length;
      report(
        `${one.name}, ${variant}: surely wrong`,
        `${((100 * wrong) / cases).toFixed(1)} % of ${cases}`,
        `<= ${100 * MOST_SURELY_WRONG} %`,
        wrong <= MOST_SURELY_WRONG * cases,
      );
    }
  }
  console.log("\nWorlds that are not as declared, per cent of the cases:");
  console.table(rows);
  console.log("Kinds of the findings that are surely wrong, and their stated confidence:");
  for (const [name, tally] of kinds) if (tally !== "") console.log(`   ${name}: ${tally}`);
  printCalibration(all, report);
}

function drawCase(one, variant, random) {
  for (let draws = 0; draws < MOST_DRAWS; draws++) {
    const drawn = one.draw(variant, random);
    if (drawn !== null) return drawn;
  }
  throw new Error(`${one.name}, ${variant}: no site with room for it in ${MOST_DRAWS} draws`);
}

function rowOf({ name }, variant, judged) {
  const share = (isCounted) => Math.round((1000 * judged.filter(isCounted).length) / judged.length) / 10;
  const share10 = (verdict) => share((one) => one.verdict === verdict);
  return {
    class: name,
    variant,
    "surely wrong": share10("surely-wrong"),
    right: share10("right"),
    humble: share10("humble"),
    nothing: share10("nothing"),
    "findings a case": (judged.reduce((sum, { findings }) => sum + findings.length, 0) / judged.length).toFixed(1),
    "place right, kind wrong": share(({ isMisnamed }) => isMisnamed),
    "fault called ok": share(({ isCalledGood }) => isCalledGood),
    "untrue words": share(({ hasUntrueWords }) => hasUntrueWords),
  };
}

const isSurelyWrong = ({ finding, isRight, isClaim }) => isClaim && !isRight && finding.confidence >= SURE;

function sureKinds(judged) {
  const tally = new Map();
  for (const { finding } of judged.flatMap(({ findings }) => findings.filter(isSurelyWrong))) {
    const key = `${finding.kind} at ${finding.confidence}`;
    tally.set(key, (tally.get(key) ?? 0) + 1);
  }
  return [...tally]
    .sort(([, a], [, b]) => b - a)
    .map(([key, times]) => `${key}: ${times}`)
    .join(", ");
}

const BOUNDS = [0, 0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 1];

/** Every bucket within 3 points of the truth, or humbler: what is stated may be less than what comes true, not more. */
function printCalibration(all, report) {
  const rows = BOUNDS.slice(1).flatMap((to, i) => {
    const from = BOUNDS[i];
    const isLast = to === 1;
    const some = all.filter(({ finding: { confidence } }) => confidence >= from && (isLast || confidence < to));
    if (some.length === 0) return [];
    const stated = some.reduce((sum, { finding }) => sum + finding.confidence, 0) / some.length;
    const right = some.filter(({ isRight }) => isRight).length / some.length;
    const name = `stated ${from} to ${to}`;
    if (some.length >= FEWEST_FINDINGS) {
      const measured = `${(100 * right).toFixed(1)} % of ${some.length} right, ${(100 * stated).toFixed(1)} % stated`;
      report(`classes, ${name}`, measured, "stated at most 3 points more", stated - right <= MOST_OVERSTATED);
    }
    return { confidence: `${from}-${to}`, findings: some.length, stated: stated.toFixed(3), right: right.toFixed(3) };
  });
  console.log("\nConfidence against truth, all classes together:");
  console.table(rows);
}
