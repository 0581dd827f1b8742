import { greatestOf } from "@dyetrace/wire";

/** Something that repeats. */
export interface Period {
  readonly periodNs: number;
  /** Of the first instants, since the beginning. */
  readonly phaseNs: number;
  /** Chance of a period as clear as this, of all that were looked at, in instants that know nothing of each other. */
  readonly p: number;
}

/** Fewer instants, or fewer turns, make no period. */
export const LEAST = 5;
/** Shorter periods are within what reports of a second can tell apart. */
const SHORTEST_NS = 10e9;
/** Some instants are known to a report's second: what lies closer together lies as on an arc of this length. */
const RESOLUTION_NS = 1e9;
/** Frequencies between two that a night of this length tells apart, so that none falls between two looks. */
const OVERSAMPLED = 4;
/** More than so many instants say nothing more. */
const MOST_INSTANTS = 500;
/** What repeats every hour also repeats every half: the longest period that is about as clear is told. */
const ABOUT_AS_CLEAR = 0.9;
/** A period that networks have is told rather than one that fits this much better, or is a fraction of it. */
const NAMED_AS_CLEAR = 0.8;
/** Once found, the period is looked for between its neighbours in so many steps. */
const FINE_STEPS = 40;

/**
 * Folds instants to circles of the length of a period: they point the same way if they repeat with it (Rayleigh's test), and
 * all lie on a short arc. First those periods are tried that are named, then any from 10 s to a fifth of the night, and the
 * chance is that of all these looks (Bonferroni's bound). Pure.
 * @param named periods that networks and people have
 * @param level a period with a larger chance is none
 */
export function findPeriod(
  instantsNs: readonly number[],
  lengthNs: number,
  named: readonly number[],
  level: number,
): Period | null {
  const instants = instantsNs.slice(0, MOST_INSTANTS);
  if (instants.length < LEAST) return null;
  const isTried = (periodNs: number): boolean => periodNs >= SHORTEST_NS && lengthNs / periodNs >= LEAST;
  const steps = Math.floor((OVERSAMPLED * lengthNs) / SHORTEST_NS);
  const grid = Array.from({ length: steps }, (_, i) => (OVERSAMPLED * lengthNs) / (i + 1)).filter(isTried);
  const n = instants.length;
  const any = longestClear(instants, grid, level / 2, (length) => rayleighP(n, length));
  const known = longestClear(instants, named.filter(isTried), level / 2, (length, periodNs) =>
    // Two looks at one period.
    Math.min(1, 2 * Math.min(rayleighP(n, length), arcP(instants, periodNs))),
  );
  if (any === null) return known;
  const exact = refine(instants, any, lengthNs);
  if (known === null) return exact;
  // A named one that is not as clear only lies near, or is a fraction of what really repeats.
  const isNamed = fold(instants, known.periodNs).length >= NAMED_AS_CLEAR * fold(instants, exact.periodNs).length;
  return isNamed ? known : exact;
}

/** Of the periods that are about as clear as the clearest the longest; null where none is. */
function longestClear(
  instants: readonly number[],
  periods: readonly number[],
  level: number,
  chanceOf: (length: number, periodNs: number) => number,
): Period | null {
  const tried = periods
    .map((periodNs) => {
      const folded = fold(instants, periodNs);
      return { periodNs, ...folded, p: Math.min(1, 2 * periods.length * chanceOf(folded.length, periodNs)) };
    })
    .filter(({ p }) => p / 2 < level);
  const clearest = tried.reduce((most, { length }) => Math.max(most, length), 0);
  const [longest] = tried
    .filter(({ length }) => length >= ABOUT_AS_CLEAR * clearest)
    .toSorted((a, b) => b.periodNs - a.periodNs);
  if (longest === undefined) return null;
  const { periodNs, phaseNs, p } = longest;
  return { periodNs, phaseNs, p };
}

/** The clearest between the two neighbours on the grid. */
function refine(instants: readonly number[], { periodNs, p }: Period, lengthNs: number): Period {
  const stepHz = 1 / (OVERSAMPLED * lengthNs);
  let best = { periodNs, length: 0 };
  for (let i = -FINE_STEPS; i <= FINE_STEPS; i++) {
    const other = 1 / (1 / periodNs + (i / FINE_STEPS) * stepHz);
    const { length } = fold(instants, other);
    if (length > best.length) best = { periodNs: other, length };
  }
  return { periodNs: best.periodNs, phaseNs: fold(instants, best.periodNs).phaseNs, p };
}

/** @returns length of the mean vector, 0 to 1, and where it points */
function fold(instants: readonly number[], periodNs: number): { readonly length: number; readonly phaseNs: number } {
  let [x, y] = [0, 0];
  for (const atNs of instants) {
    const angle = (2 * Math.PI * (atNs % periodNs)) / periodNs;
    x += Math.cos(angle);
    y += Math.sin(angle);
  }
  const turn = Math.atan2(y, x) / (2 * Math.PI);
  return { length: Math.hypot(x, y) / instants.length, phaseNs: (turn < 0 ? turn + 1 : turn) * periodNs };
}

/**
 * Chance that all instants lie on an arc as short as theirs, n * w ** (n - 1) for a share w of the circle up to a half (W. L.
 * Stevens, Solution to a geometrical problem in probability, Annals of Eugenics 9, 1939, from memory). Few instants that repeat
 * exactly are found by it, for which Rayleigh's test is too careful.
 */
function arcP(instantsNs: readonly number[], periodNs: number): number {
  const turned = instantsNs.map((atNs) => atNs % periodNs).toSorted((a, b) => a - b);
  const [first = 0] = turned;
  const gaps = turned.map((atNs, i) => (turned[i + 1] ?? first + periodNs) - atNs);
  const share = (periodNs - greatestOf(gaps) + RESOLUTION_NS) / periodNs;
  return share > 0.5 ? 1 : Math.min(1, turned.length * share ** (turned.length - 1));
}

/** Good for few instants too (Zar, Biostatistical Analysis, section 27.1, from memory). @param length of the mean vector */
const rayleighP = (n: number, length: number): number =>
  Math.min(1, Math.exp(Math.sqrt(1 + 4 * n + 4 * n * n * (1 - length * length)) - (1 + 2 * n)));
