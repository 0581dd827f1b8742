/**
 * Minimum hitting set: the fewest candidates that together explain every bad pair. NP-hard in general (Karp 1972), easy
 * on a site: after merging and dropping dominated candidates a fault explains whole subtrees, and faults are few.
 */

export interface CoverCandidate {
  /** Pairs that this candidate explains, ascending. */
  readonly covers: readonly number[];
  /** Cost; the weights lie close together, so fewer candidates always win. */
  readonly weight: number;
}

export interface SmallestCover {
  /** Pairs of this part; no candidate explains pairs of two parts. */
  readonly pairs: readonly number[];
  /** Every smallest choice found, as candidate numbers; cheapest first, never empty. */
  readonly choices: readonly (readonly number[])[];
  /** False when the search was cut short: the choice is then a greedy one, within 1 + ln(pairs) of the best (Chvatal 1979). */
  readonly isExact: boolean;
}

// Bounds of effort: beyond them the greedy choice is taken. No source.
const MAX_FAULTS = 8;
const MAX_CHOICES = 64;
const SEARCH_BUDGET = 50_000;

/**
 * Smallest covers of the pairs that the candidates mention, one result per independent part.
 * @param candidates each with at least one pair
 */
export function smallestCovers(candidates: readonly CoverCandidate[]): SmallestCover[] {
  const kept = dropDominated(candidates);
  return partsOf(candidates, kept).map((part) => coverPart(candidates, part));
}

/** Candidates that no other replaces at no greater weight. */
function dropDominated(candidates: readonly CoverCandidate[]): number[] {
  const byPair = new Map<number, number[]>();
  for (const [number, candidate] of candidates.entries()) {
    for (const pair of candidate.covers) {
      const list = byPair.get(pair);
      if (list === undefined) byPair.set(pair, [number]);
      else list.push(number);
    }
  }
  const dropped = new Set<number>();
  for (const [number, candidate] of candidates.entries()) {
    const rarest = candidate.covers.reduce<readonly number[] | null>((best, pair) => {
      const list = byPair.get(pair) ?? [];
      return best === null || list.length < best.length ? list : best;
    }, null);
    for (const other of rarest ?? []) {
      const rival = candidates[other];
      if (other === number || rival === undefined || dropped.has(other)) continue;
      if (rival.weight > candidate.weight || rival.covers.length < candidate.covers.length) continue;
      // Equal sets at equal weight: the first one stays.
      if (rival.covers.length === candidate.covers.length && rival.weight === candidate.weight && other > number)
        continue;
      if (includesAll(rival.covers, candidate.covers)) {
        dropped.add(number);
        break;
      }
    }
  }
  return [...candidates.keys()].filter((number) => !dropped.has(number));
}

/** True when ascending `whole` holds every number of ascending `part`. */
export function includesAll(whole: readonly number[], part: readonly number[]): boolean {
  let at = 0;
  for (const wanted of part) {
    while (at < whole.length && (whole[at] as number) < wanted) at++;
    if (whole[at] !== wanted) return false;
    at++;
  }
  return true;
}

interface Part {
  readonly candidates: number[];
  /** Pairs that must be covered; of pairs with the same candidates one stands for all. */
  readonly rows: (readonly number[])[];
  readonly pairs: number[];
}

function partsOf(candidates: readonly CoverCandidate[], kept: readonly number[]): Part[] {
  const byPair = new Map<number, number[]>();
  for (const number of kept) {
    for (const pair of candidates[number]?.covers ?? []) {
      const list = byPair.get(pair);
      if (list === undefined) byPair.set(pair, [number]);
      else list.push(number);
    }
  }
  const parts: Part[] = [];
  const seen = new Set<number>();
  for (const start of kept) {
    if (seen.has(start)) continue;
    seen.add(start);
    const members = [start];
    const pairs = new Set<number>();
    const rows = new Map<string, readonly number[]>();
    for (let at = 0; at < members.length; at++) {
      for (const pair of candidates[members[at] ?? start]?.covers ?? []) {
        if (pairs.has(pair)) continue;
        pairs.add(pair);
        const row = byPair.get(pair) ?? [];
        rows.set(row.join(","), row);
        for (const next of row) {
          if (seen.has(next)) continue;
          seen.add(next);
          members.push(next);
        }
      }
    }
    parts.push({ candidates: members, rows: [...rows.values()], pairs: [...pairs].sort((a, b) => a - b) });
  }
  return parts;
}

function coverPart(candidates: readonly CoverCandidate[], part: Part): SmallestCover {
  const weightOf = (choice: readonly number[]): number =>
    choice.reduce((sum, number) => sum + (candidates[number]?.weight ?? 0), 0);
  const search = new CoverSearch(part.rows);
  for (let faults = 1; faults <= MAX_FAULTS; faults++) {
    const found = search.choicesOfSize(faults);
    if (found === null) break;
    if (found.length > 0) {
      const choices = found.sort((a, b) => weightOf(a) - weightOf(b));
      return { pairs: part.pairs, choices, isExact: true };
    }
  }
  return { pairs: part.pairs, choices: [greedyChoice(part.rows)], isExact: false };
}

/** Iterative deepening: try one fault, then two, branching on the row with the fewest candidates. */
class CoverSearch {
  readonly #rows: readonly (readonly number[])[];
  /** Rows that each candidate covers. */
  readonly #rowsOf = new Map<number, number[]>();
  readonly #mostRows: number;
  #left = SEARCH_BUDGET;

  constructor(rows: readonly (readonly number[])[]) {
    this.#rows = rows;
    for (const [index, row] of rows.entries()) {
      for (const number of row) {
        const list = this.#rowsOf.get(number);
        if (list === undefined) this.#rowsOf.set(number, [index]);
        else list.push(index);
      }
    }
    this.#mostRows = Math.max(...[...this.#rowsOf.values()].map((list) => list.length));
  }

  /** All covers of this size (at most MAX_CHOICES), none if there is none, null when the budget is spent. */
  choicesOfSize(size: number): number[][] | null {
    const timesCovered = new Int32Array(this.#rows.length);
    const found = new Map<string, number[]>();
    const chosen: number[] = [];
    let openRows = this.#rows.length;

    const step = (left: number): void => {
      if (openRows === 0) {
        const choice = [...chosen].sort((a, b) => a - b);
        found.set(choice.join(","), choice);
        return;
      }
      if (openRows > left * this.#mostRows || found.size >= MAX_CHOICES || --this.#left < 0) return;
      for (const number of this.#narrowestOpenRow(timesCovered)) {
        const rows = this.#rowsOf.get(number) ?? [];
        for (const row of rows) {
          const times = timesCovered[row] ?? 0;
          timesCovered[row] = times + 1;
          if (times === 0) openRows--;
        }
        chosen.push(number);
        step(left - 1);
        chosen.pop();
        for (const row of rows) {
          const times = (timesCovered[row] ?? 0) - 1;
          timesCovered[row] = times;
          if (times === 0) openRows++;
        }
      }
    };

    step(size);
    return this.#left < 0 && found.size === 0 ? null : [...found.values()];
  }

  #narrowestOpenRow(timesCovered: Int32Array): readonly number[] {
    let narrowest: readonly number[] | null = null;
    for (const [index, row] of this.#rows.entries()) {
      if (timesCovered[index] !== 0) continue;
      if (narrowest === null || row.length < narrowest.length) narrowest = row;
      if (narrowest.length === 1) break;
    }
    return narrowest ?? [];
  }
}

function greedyChoice(rows: readonly (readonly number[])[]): number[] {
  let open = rows;
  const choice: number[] = [];
  while (open.length > 0) {
    const hits = new Map<number, number>();
    for (const row of open) for (const number of row) hits.set(number, (hits.get(number) ?? 0) + 1);
    const [best] = [...hits].reduce((a, b) => (b[1] > a[1] ? b : a));
    choice.push(best);
    open = open.filter((row) => !row.includes(best));
  }
  return choice.sort((a, b) => a - b);
}
