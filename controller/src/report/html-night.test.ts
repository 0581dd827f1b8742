import type { Night, NightIncident } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { renderNightSection } from "./html-night.ts";

const incident = (kind: string, fromMs: number, withoutMs: number | undefined): NightIncident => ({
  ...{ kind, fromMs, toMs: fromMs + 240_000, streams: [], agents: ["lounge"], suspects: [], count: 1, title: kind },
  ...{ name: kind, fromAt: "", toAt: "", harmMs: 240_000 },
  ...(withoutMs === undefined ? {} : { withoutMs }),
});

const NIGHT: Night = {
  ...{ formatVersion: 1, runId: "aa", site: "Quillfen", scenario: "soak", startedAt: "2026-01-01T21:30:00.000Z" },
  ...{ untilMs: 8 * 3600e3, isOver: true, headline: "Much.", received: 10, lost: 1, hostLost: 0, cellMs: 300e3 },
  listeners: [{ listener: "lounge", cells: "-?5.".repeat(24), received: 10, lost: 1, hostLost: 0, withoutMs: 1 }],
  ...{ strips: [], incidents: [], patterns: [], unwatched: [], summarised: [] },
  worst: [incident("away", 0, undefined), incident("loss", 600_000, 9000)],
};

test("renderNightSection: given an absence among the worst, then its time without a stream is not known, and that of a loss is", () => {
  const { text } = renderNightSection(NIGHT);
  expect(text).toContain("<td>not known, within 4 min</td><td>away</td>");
  expect(text).toContain("<td>9 s</td><td>loss</td>");
});

test("renderNightSection: given cells of which a part was not measured, then they are hatched as the key says, and the last mark stands within the page", () => {
  const { text } = renderNightSection(NIGHT);
  expect(text).toContain("Hatched:");
  expect(text).toContain('<pattern id="partly"');
  expect(text.match(/fill="url\(#partly\)"/g)).toHaveLength(24);
  expect(text.match(/<span class="last"/g)).toHaveLength(1);
});
