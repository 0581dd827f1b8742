import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { first, openBrowser, openConsole, SETTINGS } from "./support/console-browser.ts";
import { recorded } from "./support/recorded.ts";
import { reachOutline, storedRun, type ToldConsole, tellConsole, toldRun } from "./support/told-console.ts";

const OUTLINE = reachOutline(recorded("leak").plan, 60_000);

describe("console: given two stored runs, one that leaked and one that was blocked at a host, the latter the newest", () => {
  const older = recorded("leak");
  const newer = recorded("block");
  let told: ToldConsole;
  let browser: Browser;
  beforeAll(async () => {
    browser = await openBrowser();
    const { report } = newer;
    told = await tellConsole({ run: toldRun(report.run, OUTLINE, { stage: "over", report }) });
    told.keep(storedRun(older.plan, older.report));
    told.keep(storedRun(newer.plan, report));
  });
  afterAll(async () => {
    await told?.[Symbol.asyncDispose]();
  });

  test("given the older is opened, then every page keeps its id, place and finding in the address, and shows its verdict", async () => {
    const run = older.report.run;
    await using console = await openConsole(browser, told.url, first(SETTINGS), { hash: `#/findings/${run}` });
    const { page } = console;
    const openTab = async (name: string): Promise<URL> => {
      await page.locator(`nav a[data-name="${name}"]`).click();
      await page.locator(`nav a[data-name="${name}"][aria-current="page"]`).waitFor();
      return new URL(page.url());
    };
    await page.locator(".finding-card").first().waitFor();
    await openTab("Map");
    const titles = (): Promise<string[]> => page.locator(".finding-note h3").allInnerTexts();
    await expect.poll(titles).toEqual(older.report.findings.map(({ title }) => title));
    // A finding that is shown, and a place that is chosen, stand in the address.
    await page.getByRole("link", { name: "Show it on the map" }).first().click();
    await page.locator("[data-node='board-2']").click();
    const hash = new URL(page.url()).hash;
    expect(hash).toContain(`#/map/${run}?`);
    expect(hash).toContain("place=board-2");
    expect(hash).toContain("finding=1");
    for (const name of ["Findings", "Live", "Runs", "Agents", "Plan", "Run", "Log", "Map"]) {
      const url = await openTab(name);
      expect(url.hash.split("?")[0], name).toMatch(new RegExp(`/${run}$`));
      expect(new URLSearchParams(url.hash.split("?")[1]).get("place"), name).toBe("board-2");
      expect(new URLSearchParams(url.hash.split("?")[1]).get("finding"), name).toBe("1");
    }
    // The address alone brings all of it back.
    await page.reload();
    await page.locator("[data-node='board-2'][aria-pressed='true']").waitFor();
    expect(await page.locator(".finding-note.is-shown h3").innerText()).toBe(older.report.findings[0]?.title);
    // Of this run nothing is kept second by second, and the newest run's strips are not shown in their place.
    await openTab("Live");
    await page.getByText("shown of the newest run alone").waitFor();
    expect(await page.locator(".live-frame").count()).toBe(0);
    expect(console.troubles).toEqual([]);
  });

  test("given no run in the address, then the newest one's id is written there, and a run that is started is shown as not concluded", async () => {
    await using console = await openConsole(browser, told.url, first(SETTINGS), { hash: "#/map" });
    const { page } = console;
    const verdict = (): Promise<string> => page.locator(".notes .verdict").innerText();
    await expect.poll(verdict).toBe("Fail");
    await expect.poll(() => new URL(page.url()).hash).toBe(`#/map/${newer.report.run}`);
    // A live site's agents listen before anything is sent: the run is in the store and has told nothing yet.
    const next = "00000000000000aa";
    const about = storedRun(newer.plan, newer.report);
    const begun = { state: "running", report: null, verdict: null, endedAt: null } as const;
    told.keep({ ...about, ...begun, runId: next, scenario: "reach" });
    await page.goto(`${told.url}/#/map/${next}`);
    await expect.poll(verdict).toBe("Under way");
    expect(await page.locator(".finding-note").count()).toBe(0);
    expect(await page.locator(".flag").count()).toBe(0);
    told.tell({ kind: "run", run: toldRun(next, OUTLINE) });
    await expect.poll(verdict).toBe("Running");
    // Whoever looks at the earlier run meanwhile is told that another goes on.
    await page.goto(`${told.url}/#/map/${older.report.run}`);
    await page.getByText("A run of reach is going on.").waitFor();
    expect(await verdict()).toBe("Fail");
    // The notice does not push the map's tools out of sight.
    const tools = await page.getByRole("button", { name: "Whole site" }).boundingBox();
    expect((tools?.y ?? Number.NaN) + (tools?.height ?? Number.NaN)).toBeLessThan(page.viewportSize()?.height ?? 0);
    expect(console.troubles).toEqual([]);
  });
});
