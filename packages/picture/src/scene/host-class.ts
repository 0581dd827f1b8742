import type { HostWater } from "../water/host-water.ts";
import { LOSS_CLASS_WORDS } from "../water/loss-shape.ts";

/** Hosts to which the same happened, as they are counted together. The worst has the smallest rank. */
export interface HostClass {
  readonly key: string;
  /** Of one or many hosts: `got nothing`, `no loss`. */
  readonly words: string;
  readonly rank: number;
  readonly isTrouble: boolean;
}

const classOf = (rank: number, key: string, words: string, isTrouble: boolean): HostClass => ({
  key,
  words,
  rank,
  isTrouble,
});

/** @param water null: the host has nothing to do with the stream, or has no agent */
export function hostClass(water: HostWater | null): HostClass {
  if (water === null) return classOf(9, "apart", "not asked", false);
  switch (water.kind) {
    case "dry":
      return classOf(0, "dry", "got nothing", true);
    case "silent-source":
      return classOf(0, "silent-source", "source, sent nothing", true);
    case "blocked":
      return classOf(1, "blocked", "got it at the network card only", true);
    case "thins":
      return water.isInterrupted
        ? classOf(2, "interrupted", "had outages", true)
        : classOf(
            3 - water.lossClass / 10,
            `thins-${water.lossClass}`,
            `lost ${LOSS_CLASS_WORDS[water.lossClass]}`,
            true,
          );
    case "uninvited":
      return water.isByDesign
        ? classOf(8, "by-design", "get copies by the site's build", false)
        : classOf(4, "uninvited", "got frames unasked", true);
    case "not-reported":
      return classOf(5, "not-reported", "did not report", true);
    case "unknown":
      return classOf(6, "unknown", "can't tell", true);
    case "some":
      return classOf(6.5, "some", "got some, not all is known", false);
    case "waiting":
      return classOf(7, "waiting", "wait, nothing due", false);
    case "whole":
      return classOf(7.5, "whole", "no loss", false);
    case "source":
      return classOf(7.6, "source", "source", false);
    case "apart":
      return classOf(8.5, "not-joined", "not joined, saw nothing", false);
  }
}

/**
 * What is below a place, in a few words, the worst first: `2 of 24 got nothing`, `24 listeners, no loss`.
 * @param waters of the hosts below  @param quietWords where none of them has anything to tell
 */
export function summariseHosts(waters: readonly (HostWater | null)[], quietWords?: string): string {
  const told = waters.filter((water) => water !== null && water.kind !== "source");
  if (told.length === 0 && quietWords !== undefined) return quietWords;
  if (told.length === 0) return waters.length === 1 ? "1 host" : `${waters.length} hosts`;
  const counts = new Map<string, { readonly of: HostClass; count: number }>();
  for (const water of told) {
    const of = hostClass(water);
    const known = counts.get(of.key);
    if (known === undefined) counts.set(of.key, { of, count: 1 });
    else known.count++;
  }
  const sorted = [...counts.values()].sort((a, b) => a.of.rank - b.of.rank);
  const worst = sorted[0];
  if (worst === undefined) return "";
  if (!worst.of.isTrouble) {
    const of = told.length === 1 ? "1 listener" : `${told.length} listeners`;
    return `${of}, ${sorted.length === 1 ? worst.of.words : "no trouble"}`;
  }
  const others = sorted.slice(1).filter(({ of }) => of.isTrouble);
  const more = others.reduce((sum, { count }) => sum + count, 0);
  return `${worst.count} of ${told.length} ${worst.of.words}${more === 0 ? "" : `, ${more} other trouble`}`;
}
