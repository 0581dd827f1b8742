import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { type LastingSite, raiseLastingSite } from "../faults/lasting-site.ts";
import { first, openBrowser, openConsole, SETTINGS } from "./support/console-browser.ts";

const PLAN = `site: A stage by night
nodes:
  rack: { kind: switch, querier: true }
  desk: { kind: host }
  left: { kind: host }
  right: { kind: host }
links:
  - rack:1 -- desk:eth0
  - rack:2 -- left:eth0
  - rack:3 -- right:eth0
`;
/** Longer than the test can take; it stops the run itself. */
const SCENARIO = `scenario: show
hold: 10 min
streams:
  - { name: cue, source: desk, group: 239.195.30.1, rate: 1 Mbit/s }
timeline:
  - { at: 0s, join: cue, agents: [left, right] }
  - { at: 0s, emit: cue }
  - { at: 10min, stop: cue }
`;
const WHOLE = "[data-node='left'][aria-label*='no loss']";
const PATIENCE_MS = 60_000;

describe("console: given a controller that is killed while a run goes on, and started again on what it had stored", () => {
  let site: LastingSite;
  let browser: Browser;
  beforeAll(async () => {
    site = await raiseLastingSite(PLAN);
    browser = await openBrowser();
  }, 180_000);
  afterAll(async () => {
    await site?.[Symbol.asyncDispose]();
  });

  test("then the page says so, shows no water meanwhile, and by itself comes back to the same run, which nobody calls lost", async () => {
    const setting = first(SETTINGS);
    const runId = await site.startRun(SCENARIO);
    await using map = await openConsole(browser, site.url, setting, { hash: "#/map" });
    const { page } = map;
    await page.waitForSelector(WHOLE, { timeout: PATIENCE_MS });
    await site.killController();
    await page.getByText("The controller does not answer.").waitFor({ timeout: PATIENCE_MS });
    expect(await page.locator(WHOLE).count()).toBe(0);
    expect(await page.locator(".map-frame .dye").count()).toBe(0);
    await site.startController();
    await page.getByText("The controller does not answer.").waitFor({ state: "detached", timeout: PATIENCE_MS });
    await site.allConnected();
    await page.waitForSelector(WHOLE, { timeout: PATIENCE_MS });
    expect(await page.getByText("ended with it").count()).toBe(0);
    await page.goto(`${site.url}/#/run`);
    await page.getByRole("button", { name: "Stop this run" }).click();
    const report = await site.report(runId, PATIENCE_MS);
    expect(report.run).toBe(runId);
  });
});
