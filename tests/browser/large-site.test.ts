import { ControllerClient } from "@dyetrace/controller";
import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { first, openBrowser, openConsole, SETTINGS, troublesInEverySetting } from "./support/console-browser.ts";
import { type LargeController, startLargeController } from "./support/large-controller.ts";
import { largePlan, largeScenario, listenerNames, STREAMS, sourceNames } from "./support/large-site.ts";
import { connectScriptedAgents, type ScriptedAgents } from "./support/scripted-agents.ts";

/** From this second on the listeners of one switch get nothing, and one listener loses some. */
const FAULT_FROM_S = 4;
/** Longer than the test can take; it stops the run itself. */
const RUN_S = 600;
const PACKETS_PER_SECOND = 190;
/** How long a busy machine may take to show what it has been told. */
const PATIENCE_MS = 100_000;
/** Whether it is in sight takes a look at the layout, which changes each second. */
const THERE = { state: "attached", timeout: PATIENCE_MS } as const;

/** Listeners go round the thirty switches, so every thirtieth hangs on the same one. */
const isBehindFault = (agent: string): boolean => Number(agent.split("-")[1]) % 30 === 7;

describe("console: given a plan of 300 nodes and a hundred listeners of twenty streams", () => {
  const plan = { file: "large.yaml", text: largePlan() };
  const key = "key-of-this-test";
  let controller: LargeController;
  let agents: ScriptedAgents;
  let browser: Browser;

  beforeAll(async () => {
    controller = await startLargeController(plan.text, key);
    agents = await connectScriptedAgents({
      controllerUrl: controller.url,
      key,
      names: [...sourceNames(), ...listenerNames()],
      script: (agent, _streamId, second) => {
        if (second < 1) return { received: 0, lost: 0 };
        if (second >= FAULT_FROM_S && isBehindFault(agent)) return { received: 0, lost: 0 };
        const lost = agent === "screen-3" && second % 3 === 0 ? 4 : 0;
        return { received: PACKETS_PER_SECOND - lost, lost };
      },
    });
    browser = await openBrowser();
  });
  afterAll(async () => {
    // First what keeps the machine busy, so that the browser is not kept waiting.
    await agents?.[Symbol.asyncDispose]();
    await controller?.[Symbol.asyncDispose]();
  });

  test("given the run goes on, then map and grid show every strip", async () => {
    const client = new ControllerClient(controller.url);
    const runId = await client.startRun({
      site: plan,
      scenario: { file: "large-scenario.yaml", text: largeScenario(RUN_S) },
      parameters: {},
    });
    const setting = SETTINGS[0];
    if (setting === undefined) throw new Error("no setting");
    await using map = await openConsole(browser, controller.url, setting, { hash: "#/map" });
    await map.page.waitForSelector("[data-node='core']");
    await map.page.getByRole("button", { name: "Unfold all" }).click();
    await expect.poll(() => map.page.locator("[data-node]").count(), { timeout: PATIENCE_MS }).toBe(300);
    // The dry branch shows while the run goes on, and nothing else does.
    await map.page.waitForSelector("[data-node='screen-7'][aria-label*='nothing came']", THERE);
    await map.page.waitForSelector("[data-node='screen-8'][aria-label*='no loss']", THERE);

    await map.page.goto(`${controller.url}/#/live`);
    await map.page.waitForSelector(".live-frame canvas");
    await expect
      .poll(async () => map.page.locator(".live-head").innerText(), { timeout: PATIENCE_MS })
      .toContain(`${listenersBehindFault() * STREAMS} dry`);
    expect(map.troubles).toEqual([]);
    await client.abortRun(runId);
  });

  test("given a hundred connected agents, then the worst come first, a line each, and one is found and opened", async () => {
    await using console = await openConsole(browser, controller.url, first(SETTINGS), { hash: "#/agents" });
    const { page } = console;
    await page.getByRole("heading", { name: "Connected, the worst first" }).waitFor();
    // The scripted agents have no watcher, all of them: said once.
    await page.getByText("cannot see frames that it did not join").waitFor();
    await page.getByText("at all 104 of them").waitFor();
    const lines = page.locator(".agent-lines > li");
    expect(await lines.count()).toBe(24);
    expect(await page.evaluate("document.documentElement.scrollHeight / innerHeight")).toBeLessThan(4);
    await page.getByLabel("Find an agent").fill("screen-77");
    await expect.poll(() => lines.count()).toBe(1);
    await lines.first().locator("summary").first().click();
    await page.locator(".agent").getByText("receive buffer").waitFor();
    expect(await troublesInEverySetting(page)).toEqual([]);
    await page.getByLabel("Find an agent").fill("");
    await page.getByRole("button", { name: "and 80 more" }).click();
    await expect.poll(() => lines.count()).toBe(104);
    expect(console.troubles).toEqual([]);
  });
});

const listenersBehindFault = (): number => listenerNames().filter(isBehindFault).length;
