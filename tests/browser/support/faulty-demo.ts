import { readFileSync } from "node:fs";
import { raisePractice, type StandingPractice } from "@dyetrace/controller";
import { loadPracticeFaults, type PracticeFault } from "@dyetrace/practice";
import { loadSitePlan } from "@dyetrace/site";
import type { Browser, Page } from "playwright-core";
import { expect } from "vitest";
import { openBrowser, type Setting } from "./console-browser.ts";

const DEMO = new URL("../../../packages/practice/demo/", import.meta.url);
export const PLAN = { file: "quillfen.yaml", text: readFileSync(new URL("quillfen.yaml", DEMO), "utf8") };
const FAULT = readFileSync(new URL("fault-pier-east.yaml", DEMO), "utf8");
/** What the map says of a listener that got nothing. */
export const DRY = "joined, nothing came";

/** The practice site with everything lost on the way to the eastern pier, and a browser to look at its console. */
export interface FaultyDemo extends AsyncDisposable {
  readonly practice: StandingPractice;
  readonly browser: Browser;
  readonly faults: readonly PracticeFault[];
}

export async function raiseFaultyDemo(): Promise<FaultyDemo> {
  const graph = loadSitePlan(PLAN.text, PLAN.file);
  const practice = await raisePractice({ graph, plan: PLAN, listen: { host: "127.0.0.1", port: 0 }, log: () => {} });
  const faults = loadPracticeFaults(FAULT, "fault.yaml", graph);
  await practice.site.inject(faults);
  const browser = await openBrowser();
  return {
    practice,
    browser,
    faults,
    async [Symbol.asyncDispose]() {
      await browser.close();
      await practice[Symbol.asyncDispose]();
    },
  };
}

export const first = (settings: readonly Setting[]): Setting => {
  const [setting] = settings;
  if (setting === undefined) throw new Error("no setting");
  return setting;
};

/** Starts `reach` from the tower on the page that is open at the run. */
export async function start(page: Page, length: string): Promise<void> {
  await page.getByLabel("length").fill(length);
  const button = page.getByRole("button", { name: "Start the run" });
  await expect.poll(() => button.isEnabled(), { timeout: 10_000 }).toBe(true);
  await button.click();
  await page.waitForSelector("[data-node='tower']");
}
