import { ControllerClient, startController } from "@dyetrace/controller";
import { pino } from "pino";
import type { Browser } from "playwright-core";
import { beforeAll, expect, test } from "vitest";
import { operatorRecord, PASSWORD, startWithOperators } from "../field/support/operators-controller.ts";
import { first, openBrowser, openConsole, SETTINGS, troublesInEverySetting } from "./support/console-browser.ts";
import { connectScriptedAgents } from "./support/scripted-agents.ts";

const KEY = "key-of-this-test";
const PLAN = {
  file: "quillfen.yaml",
  text: `
site: Quillfen ferry terminal
nodes:
  core: { kind: switch, querier: true }
  tower: { kind: host }
  kiosk: { kind: host }
links:
  - core:1 -- tower:eth0
  - core:2 -- kiosk:eth0
`,
};
const SCENARIO = {
  file: "board.yaml",
  text: `
scenario: board
streams:
  - { name: board, source: tower, group: 239.195.30.1, rate: 2 Mbit/s }
timeline:
  - { at: 0s, join: board, agents: [kiosk] }
  - { at: 0s, emit: board }
  - { at: 10min, stop: board }
`,
};

let browser: Browser;
beforeAll(async () => {
  browser = await openBrowser();
});

test("stop every source: given a run that goes on, then two presses on any page end it, and the page says who was told", async () => {
  await using controller = await startController({
    host: "127.0.0.1",
    port: 0,
    agentKey: KEY,
    plan: PLAN,
    isPractice: true,
    log: pino({ level: "silent" }),
  });
  const { url } = controller;
  const names = ["tower", "kiosk"];
  await using _agents = await connectScriptedAgents({
    controllerUrl: url,
    key: KEY,
    names,
    script: () => ({ received: 190, lost: 0 }),
  });
  const client = new ControllerClient(url);
  const runId = await client.startRun({ site: PLAN, scenario: SCENARIO, parameters: {} });
  await using console = await openConsole(browser, url, first(SETTINGS), { hash: "#/map" });
  const { page, troubles } = console;
  const button = page.getByRole("button", { name: "Stop every source" });
  const again = page.getByRole("button", { name: "Press again to stop every source" });
  for (const hash of ["#/map", "#/agents"]) {
    await page.goto(`${url}/${hash}`);
    await button.click();
    await again.waitFor();
    await page.keyboard.press("Tab"); // whoever goes on to something else did not mean it
    await button.waitFor();
    expect(await client.get(`/api/runs/${runId}`)).toMatchObject({ state: "running" });
  }
  await button.click();
  await again.click();
  const notice = page.getByRole("status").filter({ hasText: "Told to stop sending:" });
  await notice.waitFor();
  for (const name of names) expect(await notice.innerText()).toContain(name);
  expect(await troublesInEverySetting(page)).toEqual([]);
  await page.getByRole("button", { name: "Understood" }).click();
  await notice.waitFor({ state: "detached" });
  expect(troubles).toEqual([]);
  await expect
    .poll(async () => ((await client.get(`/api/runs/${runId}`)) as { state: string }).state, { timeout: 15_000 })
    .not.toBe("running");
});

test("stop every source: given one who may only look, then there is no such button; and one whose right is gone is told what else stops", async () => {
  await using controller = await startWithOperators([
    await operatorRecord("anna"),
    await operatorRecord("otto", "view"),
  ]);
  const button = { name: "Stop every source" };
  for (const name of ["otto", "anna"]) {
    await using console = await openConsole(browser, controller.url, first(SETTINGS), { hash: "#/runs" });
    const { page } = console;
    await page.getByLabel("Name").waitFor();
    expect(await page.getByRole("button", button).count()).toBe(0);
    await page.getByLabel("Name").fill(name);
    await page.getByLabel("Password").fill(PASSWORD);
    await page.getByRole("button", { name: "Sign in" }).click();
    await page.getByRole("button", { name: "Sign out" }).waitFor();
    if (name === "otto") {
      expect(await page.getByRole("button", button).count()).toBe(0);
      continue;
    }
    await page.getByRole("button", button).click();
    controller.book.change(({ operators }) => ({
      operators: operators.map((one) => (one.name === "anna" ? { ...one, role: "view" as const } : one)),
    }));
    await page.getByRole("button", { name: "Press again to stop every source" }).click();
    await page.getByText("Nothing was stopped.").waitFor();
    await page.getByText("anna may look, not operate").waitFor();
    await page.getByText("dyetrace stop --data FOLDER").waitFor();
    expect(await troublesInEverySetting(page)).toEqual([]);
  }
});
