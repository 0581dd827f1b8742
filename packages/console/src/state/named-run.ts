import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";
import { lostRun, run } from "./console-state.ts";
import { hrefAlong, hrefTo, replaceAddress, route } from "./route.ts";

/** The run whose id this page wrote into an address that named none: such a page goes on to the next run by itself. */
const followed = signal<string | null>(null);

/** A controller without a store ended and took this run with it; the page had come to it by itself. */
export const isLostRun = (runId: string): boolean =>
  run.value === null && runId === followed.value && runId === lostRun.value?.runId;

/**
 * Writes the newest run's id into an address that names no run, so that what is copied from it shows the same for ever.
 * An address that somebody opened with an id keeps it.
 */
export function useNamedRun(): void {
  const { page, of } = route.value;
  const newest = run.value?.runId ?? null;
  const isLost = of !== null && isLostRun(of);
  useEffect(() => {
    if (isLost) replaceAddress(hrefTo(page));
    if (newest === null || of === newest) return;
    if (of !== null && of !== followed.value) return;
    followed.value = newest;
    replaceAddress(of === null ? hrefAlong(page, { ...route.value, of: newest }) : hrefTo(page, newest));
  }, [page, of, newest, isLost]);
}
