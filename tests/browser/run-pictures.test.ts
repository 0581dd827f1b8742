import type { RunReport } from "@dyetrace/wire";
import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { renderHtmlReport } from "../../controller/src/report/html-report.ts";
import { campusRun } from "./support/campus.ts";
import { first, openBrowser, openConsole, SETTINGS, troublesInEverySetting } from "./support/console-browser.ts";
import { recorded } from "./support/recorded.ts";
import { storedRun, type ToldConsole, tellConsole } from "./support/told-console.ts";

const { plan, report } = recorded("outages");
const SECONDS = 17;

/** As recorded: all is lost on the way to `board-1` and `board-2` in second 4. */
const STRIPS = report.receipts.map(({ listener }) => ({
  agent: listener,
  stream: "board",
  marks: listener.startsWith("board-") ? `ffff-${"f".repeat(SECONDS - 5)}` : "f".repeat(SECONDS),
}));

/** The same site without its faults. */
const HEALTHY = "00000000000000e0";
const healthy = (): RunReport => ({
  ...report,
  run: HEALTHY,
  verdict: "pass",
  reason: "Everything arrived.",
  findings: [],
  receipts: report.receipts.map((one) => ({ ...one, received: one.sent, lost: 0, lossRatio: 0, gaps: [] })),
});

describe("console: given a run with outages and one without", () => {
  let told: ToldConsole;
  let browser: Browser;
  beforeAll(async () => {
    browser = await openBrowser();
    told = await tellConsole();
    told.keep(storedRun(plan, healthy()));
    told.keep(storedRun(plan, report));
    told.answers.set(`GET /api/console/runs/${report.run}/replay`, {
      startedAt: report.startedAt,
      cellMs: 1000,
      cells: SECONDS,
      strips: STRIPS,
    });
    told.answers.set(`GET /api/console/runs/${report.run}/comparison`, {
      outcome: "worse",
      reason: "More is lost.",
      changes: [],
      comparisons: [],
      notes: [],
      differences: [],
    });
  });
  afterAll(async () => {
    await told?.[Symbol.asyncDispose]();
  });

  test("given the report of a small site on a phone, then its map is no wider than the window, and its names can be read", async () => {
    const small = campusRun({ switches: 4, hosts: 6 }, 3, true);
    const file = { file: "campus.yaml", text: small.plan };
    const record = {
      request: { site: file, scenario: { file: "s.yaml", text: "" }, parameters: {} },
      programVersion: "0.1.0",
    };
    const context = await browser.newContext({ viewport: { width: 390, height: 844 } });
    const page = await context.newPage();
    await page.setContent(renderHtmlReport({ report: small.report, record, graph: small.graph }));
    const map = page.locator("svg.site-picture");
    expect((await map.boundingBox())?.width).toBeLessThanOrEqual(390);
    expect((await map.locator("text").first().boundingBox())?.height).toBeGreaterThan(9);
    // At a desk it is not blown up over the whole page: its own width is the third number of its view box.
    await page.setViewportSize({ width: 1440, height: 900 });
    const drawn = Number((await map.getAttribute("viewBox"))?.split(" ")[2]);
    expect((await map.boundingBox())?.width).toBeLessThan(1.4 * drawn);
    await context.close();
  });

  test(`given the slider of time, then the map is of the second that it stands at, by key and by play, and its right end is the whole run`, async () => {
    await using console = await openConsole(browser, told.url, first(SETTINGS), { hash: `#/map/${report.run}` });
    const { page } = console;
    const slider = page.getByLabel("Time of the run");
    await slider.waitFor();
    const says = async (node: string) => (await page.locator(`[data-node="${node}"]`).getAttribute("aria-label")) ?? "";
    expect(await says("board-1")).toContain("6.7 % lost");
    expect(await page.locator(".flag").count()).toBeGreaterThan(0);
    await slider.focus();
    await page.keyboard.press("Home");
    await expect.poll(() => says("board-1")).toContain("no loss");
    for (let second = 0; second < 4; second++) await page.keyboard.press("ArrowRight");
    await expect.poll(() => says("board-1")).toContain("nothing came");
    expect(await says("kiosk-1")).toContain("no loss");
    expect(await page.locator(`[data-channel="pier-west"]`).getAttribute("data-water")).toBe("dry");
    // A finding is of the whole run: no flag says that it was so in this second.
    expect(await page.locator(".flag").count()).toBe(0);
    expect(await slider.getAttribute("aria-valuetext")).toMatch(/^\d\d:\d\d:\d\d to \d\d:\d\d:\d\d$/);
    expect(await troublesInEverySetting(page)).toEqual([]);
    await page.getByRole("button", { name: "One step on" }).click();
    await expect.poll(() => says("board-1")).toContain("no loss");
    await page.keyboard.press("End");
    await slider.focus();
    await page.keyboard.press("End");
    await expect.poll(() => says("board-1")).toContain("6.7 % lost");
    expect(console.troubles).toEqual([]);
  });

  test(`given a finding, a pass and two runs, then each has its picture and its words`, async () => {
    await using console = await openConsole(browser, told.url, first(SETTINGS), {
      hash: `#/findings/${report.run}?finding=1`,
    });
    const { page } = console;
    const card = page.locator(".finding-card").first();
    await card.waitFor();
    expect(await card.innerText()).toContain("core:2 and pier-west:24, a link of 1 Gbit/s");
    expect(await card.innerText()).toMatch(/\d+ listeners elsewhere received the stream meanwhile/);
    const link = card.getByRole("link", { name: "One picture for a ticket" });
    expect(await link.getAttribute("href")).toBe(`/api/console/runs/${report.run}/exhibits/1`);
    // Its own hosts alone: what the other finding is about stands with that one.
    const gaps = card.locator(".chart", { hasText: "When packets were missing" });
    expect(await gaps.locator(".who").allInnerTexts()).toEqual(["board-1", "board-2"]);
    expect(await gaps.locator(".time-axis").innerText()).toMatch(/\d\d:\d\d:\d\d/);
    expect(await troublesInEverySetting(page)).toEqual([]);

    await page.goto(`${told.url}/#/findings/${HEALTHY}`);
    const proof = page.locator(".promises", { hasText: "What this verdict rests on" });
    await proof.waitFor();
    expect(await proof.innerText()).toMatch(/listeners joined, and [\d\u202f]+ packets arrived at them/);
    expect(await proof.innerText()).toContain("would have been seen");
    expect(await troublesInEverySetting(page)).toEqual([]);

    await page.goto(`${told.url}/#/runs/${report.run}?against=${HEALTHY}`);
    const change = page.locator(".change-map .site-picture");
    await change.waitFor();
    expect(await change.textContent()).toContain("no loss, now had outages");
    // Inked are the ways to the hosts that differ, and no other.
    const inked = await change
      .locator("[data-water]:not([data-water=closed])")
      .evaluateAll((all) => all.map((one) => one.getAttribute("data-channel") ?? "").sort());
    expect(inked).toEqual(expect.arrayContaining(["board-1", "board-2", "pier-west"]));
    expect(inked).not.toContain("kiosk-1");
    expect(await troublesInEverySetting(page)).toEqual([]);
    expect(console.troubles).toEqual([]);
  });
});
