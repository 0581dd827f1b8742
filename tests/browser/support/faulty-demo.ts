import { readFileSync } from "node:fs";
import { ControllerClient, raisePractice, type StandingPractice } from "@dyetrace/controller";
import { loadPracticeFaults, type PracticeFault } from "@dyetrace/practice";
import { loadSitePlan } from "@dyetrace/site";
import type { Browser, Page } from "playwright-core";
import { expect } from "vitest";
import { shippedScenario } from "../../field/support/practice-bench.ts";
import { openBrowser } from "./console-browser.ts";

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

/** @param options whether its switches talk, and which of them keeps silent all the same */
export async function raiseFaultyDemo(
  options: { readonly switchesTalk?: boolean; readonly silent?: string } = {},
): Promise<FaultyDemo> {
  const { switchesTalk = false, silent } = options;
  const built =
    silent === undefined ? PLAN.text : PLAN.text.replace(`${silent}: { `, `${silent}: { announces: false, `);
  const graph = loadSitePlan(built, PLAN.file);
  const listen = { host: "127.0.0.1", port: 0 };
  const practice = await raisePractice({ graph, plan: PLAN, listen, log: () => {}, switchesTalk });
  const faults = loadPracticeFaults(FAULT, "fault.yaml", graph);
  await practice.site.inject(faults);
  const browser = await openBrowser();
  return {
    practice,
    browser,
    faults,
    async [Symbol.asyncDispose]() {
      await practice[Symbol.asyncDispose]();
    },
  };
}

/** Starts `reach` from the tower on the page that is open at the run. */
export async function start(page: Page, length: string): Promise<void> {
  await page.getByLabel("length").fill(length);
  const button = page.getByRole("button", { name: "Start the run" });
  await expect.poll(() => button.isEnabled(), { timeout: 10_000 }).toBe(true);
  await button.click();
  await page.waitForSelector("[data-node='tower']");
}

/** Runs `reach` from the tower, without a page, to its end. */
export async function runReach({ practice }: FaultyDemo, parameters: { readonly group?: string } = {}): Promise<void> {
  const client = new ControllerClient(practice.controller.url);
  const scenario = { file: "reach.yaml", text: shippedScenario("reach") };
  const request = { site: PLAN, scenario, parameters: { source: "tower", length: "4s", ...parameters } };
  for await (const progress of client.followRun(await client.startRun(request))) {
    if (progress.kind === "failed") throw new Error(progress.message);
  }
}
