import { formatMs } from "@dyetrace/picture";
import { formatRatio } from "@dyetrace/wire";
import type { LiveFigures } from "@dyetrace/wire/console/live-second";

/** A mark in words. Of seconds that are over and of the one that goes on alike. */
export function sayMark(mark: string): string {
  switch (mark) {
    case "f":
      return "whole";
    case "1":
      return "loses under 0.1 %";
    case "2":
      return "loses under 1 %";
    case "3":
      return "loses under 10 %";
    case "4":
      return "loses 10 % or more";
    case "-":
      return "dry";
    case "b":
      return "at its network card only";
    case ".":
      return "joined, nothing due";
    case "n":
      return "comes, losses not known";
    case "s":
      return "sees it without joining";
    case "d":
      return "gets copies by the site's build";
    case "o":
      return "not joined";
    case "u":
      return "not joined, can't watch";
    default:
      return "not reported";
  }
}

/**
 * The newest second in words, with its own figures.
 * @param isNow false: of the last second in which something was due
 */
export function sayNow(mark: string, isNow: boolean, figures: LiveFigures | null): string {
  if (!isNow) return `${sayMark(mark)} when last due`;
  if (mark === " " || figures === null || figures.received === 0) return sayMark(mark);
  const { lost, received, jitterMs, longestGapMs, isLostAtLeast } = figures;
  const atLeast = isLostAtLeast === true ? "at least " : "";
  return [
    lost === 0 ? sayMark(mark) : `loses ${atLeast}${formatRatio(lost / (received + lost))}`,
    ...(jitterMs !== null && jitterMs > 0 ? [`jitter ${formatMs(jitterMs)}`] : []),
    ...(longestGapMs !== null ? [`gap ${formatMs(longestGapMs)}`] : []),
  ].join(", ");
}

/** Seconds of a strip by what was in them. */
export interface StripSeconds {
  readonly whole: number;
  readonly thin: number;
  readonly dry: number;
  readonly blocked: number;
  readonly leaking: number;
  /** Joined, and nothing was due. */
  readonly idle: number;
  /** Not joined: nothing seen, copies by the site's build, or it can't watch. */
  readonly apart: number;
  /** It came, and nobody can tell yet what was lost of it. */
  readonly unsure: number;
  /** Its agent told nothing of them. */
  readonly untold: number;
}

export function countSeconds(marks: string): StripSeconds {
  const count = (wanted: string): number => {
    let sum = 0;
    for (const mark of marks) if (wanted.includes(mark)) sum++;
    return sum;
  };
  return {
    whole: count("f"),
    thin: count("1234"),
    dry: count("-"),
    blocked: count("b"),
    leaking: count("s"),
    idle: count("."),
    apart: count("odu"),
    unsure: count("n"),
    untold: count(" "),
  };
}

/** A whole strip in words: what went wrong in how many of the seconds in which something was due. */
export function sayStrip(marks: string): string {
  const { whole, thin, dry, blocked, leaking, unsure, untold } = countSeconds(marks);
  const due = whole + thin + dry + blocked + unsure;
  const ofDue = (seconds: number): string => `${seconds} of ${due} s`;
  const told = [
    ...(dry === 0 ? [] : [dry === due ? "dry all the time" : `dry for ${ofDue(dry)}`]),
    ...(blocked === 0 ? [] : [`at its network card only for ${ofDue(blocked)}`]),
    ...(thin === 0 ? [] : [`loses in ${ofDue(thin)}`]),
    ...(leaking === 0 ? [] : [`saw it without joining for ${leaking} s`]),
    ...(unsure === 0 ? [] : [unsure === due ? sayMark("n") : `came for ${ofDue(unsure)} with losses not known`]),
    ...(untold === 0 ? [] : [`not reported for ${untold} s`]),
  ];
  if (told.length > 0) return told.join(", ");
  if (whole > 0) return "whole";
  return sayMark([..."do.u"].find((mark) => marks.includes(mark)) ?? " ");
}
