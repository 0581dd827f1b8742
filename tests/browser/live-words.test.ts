import { SENDER_UNKNOWN } from "@dyetrace/wire";
import type { LiveFigures, LiveStrip } from "@dyetrace/wire/console/live-second";
import { expect, test } from "vitest";
import { first, openBrowser, openConsole, SETTINGS } from "./support/console-browser.ts";
import { recorded } from "./support/recorded.ts";
import { reachOutline, tellConsole, toldRun } from "./support/told-console.ts";

const OUTLINE = reachOutline(recorded("leak").plan, 100_000);
const RUN = "00000000000000b6";
const figures = (received: number, lost: number): LiveFigures => ({
  received,
  lost,
  hostLost: 0,
  rateBps: received * 10_528,
  jitterMs: null,
  longestGapMs: lost === 0 ? null : 16,
});
const strip = (agent: string, marks: string, last: LiveFigures | null): LiveStrip => ({
  agent,
  streamId: 1,
  from: 0,
  marks,
  last,
});

/** Second 100 of a run: the source has just ended. What each host was told to have got stands beside it. */
const DUE = 98;
const STRIPS: readonly LiveStrip[] = [
  strip("office", "f".repeat(DUE), figures(190, 0)),
  strip("kiosk-1", `${"-".repeat(DUE)}..`, figures(0, 0)), // nothing at all
  strip("kiosk-2", `${"f".repeat(DUE - 1)}4`, figures(882, 118)), // 11.8 % of its newest second
  strip("board-1", `${"f".repeat(77)}${"-".repeat(21)}`, figures(0, 0)), // dry for 21 s
  strip("board-2", `${"f".repeat(DUE - 1)}4`, figures(100, 900)), // 90 %
  strip("lounge", "f".repeat(10), figures(190, 0)), // its agent has said nothing for a long time
  strip("till-1", `${"f".repeat(DUE - 1)}4`, null), // only how much about
];

test("console: given a run that goes on, then map and strips print what was measured, silent hosts are not said to wait, and the worst comes first; once it is over, nothing is said to have been so all the time that was not", async () => {
  const browser = await openBrowser();
  const going = toldRun(RUN, OUTLINE, { atMs: 99_000, lastsMs: 100_000 });
  await using told = await tellConsole({ run: going, strips: [...STRIPS] });
  await using console = await openConsole(browser, told.url, first(SETTINGS), { hash: `#/map/${RUN}` });
  const { page } = console;
  const says = (node: string): Promise<string | null> =>
    page.locator(`[data-node="${node}"]`).getAttribute("aria-label");
  await page.locator(`[data-node="kiosk-2"]`).waitFor();
  expect(await says("kiosk-2")).toBe("kiosk-2 11.8 % lost, host");
  expect(await says("till-1")).toBe("till-1 10 % or more lost, host");
  expect(await says("kiosk-1")).toContain("joined, nothing came");
  expect(await says("lounge")).toContain("not reported");
  expect(await says("tablet")).toContain("not reported");

  // The slider of time: some seconds back kiosk-2 had lost nothing; its right end is now, and nothing moves in the past.
  const slider = page.getByLabel("Time of the run");
  expect(await slider.getAttribute("aria-valuetext")).toBe("now");
  await slider.focus();
  await page.keyboard.press("ArrowLeft");
  await expect.poll(() => says("kiosk-2")).toContain("no loss");
  expect(await page.locator(".map-frame > canvas").count()).toBe(0);
  await page.getByRole("button", { name: "Back to now" }).click();
  await expect.poll(() => says("kiosk-2")).toContain("11.8 % lost");

  await page.goto(`${told.url}/#/live/${RUN}`);
  const head = page.locator(".live-head");
  await head.locator(".worst button").first().waitFor();
  expect(await head.locator("p").first().innerText()).toBe("Now: 1 whole, 3 lose some, 2 dry, 3 not reported.");
  const worst = (): Promise<string[]> => head.locator(".worst button").allInnerTexts();
  expect((await worst()).map((words) => words.split(",")[0])).toEqual([
    "kiosk-1 board dry when last due",
    "board-1 board dry",
    "lounge board not reported",
    "till-2 board not reported",
    "tablet board not reported",
    "board-2 board loses 90 %",
  ]);
  await head.locator(".worst button").nth(1).click();
  const detail = page.locator(".strip-detail");
  expect(await detail.innerText()).not.toContain("none");
  expect(await detail.innerText()).toContain("the whole second, and it goes on");

  told.tell({ kind: "run", run: { ...going, stage: "over", atMs: 100_000 } });
  await expect
    .poll(() => head.locator("p").first().innerText())
    .toMatch(/^Over the run: .*1 dry all the time, 1 dry for a time/);
  expect((await worst()).slice(0, 2)).toEqual(["kiosk-1 board dry all the time", "board-1 board dry for 21 of 98 s"]);
  expect(await page.locator("main").innerText()).not.toContain("waiting");
  expect(console.troubles).toEqual([]);
});

test("console: given a stream of others that is followed, then the map hangs where its sender is and tells no rate that nobody knows; without a known sender it draws no way and says why", async () => {
  const browser = await openBrowser();
  const plan = recorded("leak")
    .plan.replace("nodes:\n", "nodes:\n  encoder: { kind: host, agent: none }\n")
    .replace("links:\n", "links:\n  - core:11 -- encoder:eth0\n");
  const [stream] = OUTLINE.streams;
  if (stream === undefined) throw new Error("no stream");
  const followed = (source: string) =>
    toldRun(
      RUN,
      { ...reachOutline(plan, 100_000), streams: [{ ...stream, source, production: true }] },
      { atMs: 99_000 },
    );
  await using told = await tellConsole({ run: followed("encoder"), strips: [...STRIPS] });
  await using console = await openConsole(browser, told.url, first(SETTINGS), { hash: `#/map/${RUN}` });
  const { page } = console;
  const head = page.locator(".map-head");
  await page.locator(`[data-node="encoder"]`).waitFor();
  expect(await page.locator(`[data-node="kiosk-2"]`).getAttribute("aria-label")).toBe("kiosk-2 11.8 % lost, host");
  const about = await head.locator(".about").innerText();
  expect(about).toContain("from encoder to 239.195.10.4 port 48620");
  expect(about).not.toContain("bit/s");
  expect(await page.locator(".map-frame > canvas").count()).toBe(1);

  told.tell({ kind: "run", run: followed(SENDER_UNKNOWN) });
  await head.getByText("Which way its packets go is known once its sender is.").waitFor();
  await page.locator(`[data-node="core"]`).waitFor();
  expect(await page.locator(`[data-node="kiosk-2"]`).getAttribute("aria-label")).toBe("kiosk-2, host");
  expect(console.troubles).toEqual([]);
});
