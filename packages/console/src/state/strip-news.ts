import { ON_THE_WAY_S } from "./live-history.ts";

/** The newest thing that a strip says. */
export interface StripNews {
  /** As in `LiveMark`; a blank where its agent has told nothing, or nothing for too long. */
  readonly mark: string;
  /** False: nothing is due any more, and this is how it was when something was. */
  readonly isNow: boolean;
}

/**
 * What a strip says of now. Where nothing is due now, but something was before, what became of that is said: a listener
 * that got nothing of it does not wait.
 * @param nowSecond the second that the run is in
 */
export function stripNews(
  strip: { readonly from: number; readonly marks: string } | null,
  nowSecond: number,
): StripNews {
  const newest = strip?.marks.at(-1) ?? " ";
  if (strip === null || strip.from + strip.marks.length - 1 < nowSecond - 1 - ON_THE_WAY_S || newest === " ") {
    return { mark: " ", isNow: true };
  }
  if (newest !== ".") return { mark: newest, isNow: true };
  const before = /[fn1234b-](?=[^fn1234b-]*$)/.exec(strip.marks)?.[0];
  return before === undefined ? { mark: ".", isNow: true } : { mark: before, isNow: false };
}
