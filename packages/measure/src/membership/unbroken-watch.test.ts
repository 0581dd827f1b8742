import type { WatcherReport } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { unbrokenWatchNs } from "./unbroken-watch.ts";

const report = (sinceNs: number | null): WatcherReport => ({
  sinceNs,
  streams: [],
  membership: [],
  unlistedMembership: 0,
  dropped: 0,
});

test("unbroken watch: given reports with one beginning, then it is that; given a break of any kind, then null", () => {
  expect(unbrokenWatchNs([report(-5e9), report(-5e9)])).toBe(-5e9);
  expect(unbrokenWatchNs([report(-5e9), report(null), report(3e9)])).toBeNull();
  expect(unbrokenWatchNs([report(-5e9), report(3e9)])).toBeNull();
  expect(unbrokenWatchNs([report(null)])).toBeNull();
  expect(unbrokenWatchNs([])).toBeNull();
});
