import { type Controller, ControllerClient, startController } from "@dyetrace/controller";
import { pino } from "pino";
import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { first, openBrowser, openConsole, SETTINGS } from "./support/console-browser.ts";
import { connectScriptedAgents, type ScriptedAgents } from "./support/scripted-agents.ts";

const KEY = "key-of-this-test";
const PLAN = {
  file: "small.yaml",
  text: `
site: A stage
nodes:
  rack: { kind: switch, querier: true }
  desk: { kind: host }
  left: { kind: host }
  right: { kind: host }
links:
  - rack:1 -- desk:eth0
  - rack:2 -- left:eth0
  - rack:3 -- right:eth0
`,
};
const SCENARIO = {
  file: "show.yaml",
  text: `
scenario: show
streams:
  - { name: cue, source: desk, group: 239.195.30.1, rate: 2 Mbit/s }
timeline:
  - { at: 0s, join: cue, agents: [left, right] }
  - { at: 0s, emit: cue }
  - { at: 10min, stop: cue }
`,
};

describe("console: given a controller that dies while a run goes on, and comes back", () => {
  let browser: Browser;
  let controller: Controller;
  let agents: ScriptedAgents;

  const raise = async (port: number): Promise<void> => {
    controller = await startController({
      host: "127.0.0.1",
      port,
      agentKey: KEY,
      plan: PLAN,
      isPractice: true,
      log: pino({ level: "silent" }),
    });
    agents = await connectScriptedAgents({
      controllerUrl: controller.url,
      key: KEY,
      names: ["desk", "left", "right"],
      script: () => ({ received: 190, lost: 0 }),
    });
  };
  const fell = async (): Promise<void> => {
    await agents[Symbol.asyncDispose]();
    await controller.close();
  };

  beforeAll(async () => {
    await raise(0);
    browser = await openBrowser();
  });
  afterAll(async () => {
    await fell();
  });

  test("then the page says so, shows nothing that is no longer true, and recovers by itself", async () => {
    const setting = first(SETTINGS);
    const { url } = controller;
    await using map = await openConsole(browser, url, setting, { hash: "#/map" });
    await using agentsPage = await openConsole(browser, url, setting, { hash: "#/agents" });
    await using live = await openConsole(browser, url, setting, { hash: "#/live" });
    await new ControllerClient(url).startRun({ site: PLAN, scenario: SCENARIO, parameters: {} });
    await map.page.waitForSelector("[data-node='left'][aria-label*='no loss']", { timeout: 15_000 });
    await expect.poll(() => agentsPage.page.locator(".lead").innerText()).toContain("3 connected");
    await expect.poll(() => live.page.locator(".live-head").innerText()).toContain("Now: 2 whole");
    const dye = map.page.locator(".map-frame .dye"); // beside the frame, in the key, it explains and does not measure
    expect(await dye.count()).toBeGreaterThan(0);

    await fell();
    await map.page.getByText("The controller does not answer.").waitFor({ timeout: 10_000 });
    // No water, no verdict, nobody connected: none of it is known any more.
    expect(await map.page.locator("[data-node][aria-label*='no loss']").count()).toBe(0);
    expect(await dye.count()).toBe(0);
    expect(await map.page.locator(".notes .verdict").innerText()).toBe("No news");
    expect(await map.page.locator(".pages.is-live").count()).toBe(0);
    await agentsPage.page.getByText("Which agents are connected is unknown").waitFor({ timeout: 10_000 });
    await expect
      .poll(() => live.page.locator(".live-head").innerText(), { timeout: 10_000 })
      .toContain("As it was when the controller was last heard");

    await raise(Number(new URL(url).port));
    await map.page.getByText("The controller does not answer.").waitFor({ state: "detached", timeout: 15_000 });
    // The run went with the controller, and the page says that rather than showing how it once stood.
    await map.page.getByText("The run of show that was going on ended with it.").waitFor();
    expect(await map.page.locator(".notes .verdict").count()).toBe(0);
    expect(await map.page.locator("[data-node]").count()).toBe(4);
    await expect.poll(() => agentsPage.page.locator(".lead").innerText(), { timeout: 15_000 }).toContain("3 connected");
    await live.page.getByText("Nothing has run since this controller was started.").waitFor({ timeout: 15_000 });
    for (const { troubles } of [map, agentsPage, live]) {
      // The browser itself reports that it could not reach the controller; nothing else may be amiss.
      expect(
        troubles.filter(
          (trouble) =>
            !trouble.includes("ERR_CONNECTION_REFUSED") && !trouble.includes("ERR_INCOMPLETE_CHUNKED_ENCODING"),
        ),
      ).toEqual([]);
    }
  });
});
