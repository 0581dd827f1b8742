import { readFileSync } from "node:fs";
import { ControllerClient, raisePractice, type StandingPractice } from "@dyetrace/controller";
import { loadPracticeFaults, type PracticeFault } from "@dyetrace/practice";
import { loadSitePlan } from "@dyetrace/site";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import {
  openBrowser,
  openConsole,
  overhangPx,
  PAGES,
  SETTINGS,
  type Setting,
  seriousViolations,
} from "./support/console-browser.ts";

const DEMO = new URL("../../packages/practice/demo/", import.meta.url);
const PLAN = { file: "quillfen.yaml", text: readFileSync(new URL("quillfen.yaml", DEMO), "utf8") };
const FAULT = readFileSync(new URL("fault-pier-east.yaml", DEMO), "utf8");
const DRY = "joined, nothing came";

describe("console: given the practice site with everything lost on the way to the eastern pier", () => {
  const graph = loadSitePlan(PLAN.text, PLAN.file);
  let practice: StandingPractice;
  let browser: Browser;
  let faults: readonly PracticeFault[];

  beforeAll(async () => {
    practice = await raisePractice({ graph, plan: PLAN, listen: { host: "127.0.0.1", port: 0 }, log: () => {} });
    faults = loadPracticeFaults(FAULT, "fault.yaml", graph);
    await practice.site.inject(faults);
    browser = await openBrowser();
  });
  afterAll(async () => {
    await browser?.close();
    await practice?.[Symbol.asyncDispose]();
  });

  /** Frames that have left the source's interface, by the kernel's own counter. */
  const framesSent = async (): Promise<number> => {
    const { stdout } = await practice.site.exec("tower", ["cat", "/sys/class/net/eth0/statistics/tx_packets"]);
    return Number(stdout.trim());
  };

  for (const setting of SETTINGS.filter(({ name }) => name === "1440 px, light" || name === "390 px, dark")) {
    test(`${setting.name}: given a run started on the page, then the fault shows on the map live, and its finding can be read`, async () => {
      await using console = await openConsole(browser, practice.controller.url, setting, { hash: "#/run" });
      const { page } = console;
      await start(page, "5s");
      // The map comes up by itself; the water stands in front of the pier before anybody has concluded anything.
      await page.waitForSelector(`[data-node="kiosk-1"][aria-label*="${DRY}"]`, { timeout: 20_000 });
      expect(await page.locator(`[data-node="board-1"][aria-label*="no loss"]`).count()).toBe(1);
      expect(await page.locator(".dry-front").count()).toBe(1);
      expect(await page.locator(".flag").count()).toBe(0);
      await page.waitForSelector(".flag", { timeout: 30_000 });
      expect(await page.locator(".flag").allTextContents()).toEqual(["STOPS"]);
      expect(await page.locator(".notes .verdict").innerText()).toBe("Fail");

      await page.getByRole("link", { name: "Findings", exact: true }).click();
      const card = page.locator(".finding-card");
      await card.waitFor();
      const words = await card.innerText();
      expect(words).toContain("board stops between core:1 and pier-east:24");
      expect(words).toContain("core:1>pier-east:24");
      expect(await card.locator(".channel-bar.dry").count()).toBe(2);
      expect(console.troubles).toEqual([]);
    });
  }

  test("given its finding has several suspects, then one button shows the probe, the next sends it, and both runs tell of it", async () => {
    const client = new ControllerClient(practice.controller.url);
    const [first] = (await client.get("/api/runs?most=1")) as { readonly runId: string }[];
    const hash = `#/findings/${first?.runId}`;
    await using console = await openConsole(browser, practice.controller.url, SETTINGS[0] as Setting, { hash });
    const { page } = console;
    await page.getByRole("button", { name: "Part these suspects" }).click();
    await page.getByText("This repeats what failed").waitFor();
    await page.getByRole("button", { name: "Send the probe" }).click();
    await page.waitForSelector(".flag", { timeout: 60_000 });
    await page.goto(`${practice.controller.url}/${hash}`);
    const said = page.locator(".finding-card .probe-said");
    await said.getByText("ruled out").first().waitFor();
    await said.getByRole("link").click();
    await page.getByRole("heading", { name: "What this probe parts" }).waitFor();
    expect(console.troubles).toEqual([]);
  });

  test("given a run is stopped on the page, then by the kernel's counter its source is silent within a second", async () => {
    await using console = await openConsole(browser, practice.controller.url, first(SETTINGS), { hash: "#/run" });
    const { page } = console;
    await start(page, "60s");
    await page.waitForSelector(`[data-node="board-1"][aria-label*="no loss"]`, { timeout: 20_000 });
    await page.getByRole("link", { name: "Run", exact: true }).click();
    const before = await framesSent();
    await new Promise((resolve) => setTimeout(resolve, 500));
    expect(await framesSent()).toBeGreaterThan(before + 20); // 190 packets a second leave it
    await page.getByRole("button", { name: "Stop this run" }).click();
    await new Promise((resolve) => setTimeout(resolve, 1000));
    const stopped = await framesSent();
    await new Promise((resolve) => setTimeout(resolve, 1500));
    expect((await framesSent()) - stopped).toBeLessThan(20); // reports and the like, no stream
    await page.getByRole("heading", { name: "What to pour" }).waitFor({ timeout: 20_000 });
    expect(console.troubles).toEqual([]);
  });

  test("given a mistake is typed into the plan, then it shows at its line, the last good map stays, and mending it ends both", async () => {
    await using console = await openConsole(browser, practice.controller.url, first(SETTINGS), { hash: "#/plan" });
    const { page } = console;
    const area = page.getByLabel("Site plan in YAML");
    await area.fill(PLAN.text.replace("core:10 -- office:eth0", "core:10 -- ofice:eth0"));
    const line = PLAN.text.split("\n").findIndex((text) => text.includes("core:10 -- office")) + 1;
    await page.getByRole("button", { name: `Line ${line}` }).waitFor();
    expect(await page.locator(".mistakes").innerText()).toContain('Did you mean "office"');
    expect(await page.locator(".editor-gutter .is-wrong").innerText()).toContain(String(line));
    expect(await page.getByRole("button", { name: "Save" }).isDisabled()).toBe(true);
    expect(await page.locator("[data-node='office']").count()).toBe(1);
    // One more host: at once on the map, and it can be saved.
    const mended = PLAN.text
      .replace("  tablet: { kind: host }", "  tablet: { kind: host }\n  porter: { kind: host, agent: none }")
      .replace("  - hall-ap:radio", "  - core:11 -- porter:eth0\n  - hall-ap:radio");
    await area.fill(mended);
    await page.waitForSelector("[data-node='porter']");
    expect(await page.locator(".mistakes").count()).toBe(0);
    expect(await page.locator(".coverage").innerText()).toContain("One more agent at");
    await page.getByRole("button", { name: "Save" }).click();
    await page.getByText("Kept until this practice site is taken down.").waitFor();
    await area.fill(PLAN.text);
    await page.getByText("No mistakes: 16 nodes").waitFor();
    await page.getByRole("button", { name: "Save" }).click();
    await page.getByText("Kept until this practice site is taken down.").waitFor();
    expect(console.troubles).toEqual([]);
  });

  test("given a run without the fault and a later one with it, then their comparison says what got worse, and that first", async () => {
    const client = new ControllerClient(practice.controller.url);
    const scenario = {
      file: "reach.yaml",
      text: readFileSync(new URL("../../controller/scenarios/reach.yaml", import.meta.url), "utf8"),
    };
    const run = async (): Promise<void> => {
      const parameters = { source: "tower", length: "4s", group: "239.195.10.77" };
      const runId = await client.startRun({ site: PLAN, scenario, parameters });
      for await (const progress of client.followRun(runId))
        if (progress.kind === "failed") throw new Error(progress.message);
    };
    await practice.site.lift(faults);
    await practice.site.settled();
    try {
      await run();
    } finally {
      await practice.site.inject(faults);
    }
    await run();
    await using console = await openConsole(browser, practice.controller.url, first(SETTINGS), { hash: "#/runs" });
    const { page } = console;
    const boxes = page.getByRole("checkbox", { name: /Compare the reach run/ });
    await boxes.nth(0).check();
    await boxes.nth(1).check();
    await page.getByRole("link", { name: "Compare the two" }).click();
    await page.locator(".comparison .verdict").waitFor();
    expect(await page.locator(".comparison .verdict").innerText()).toBe("Worse");
    const changes = await page.locator(".change").allInnerTexts();
    expect(changes[0]?.toLowerCase()).toMatch(/^worse/);
    expect(changes.join(" ")).toContain("core:1>pier-east:24");
    // What got worse stands above everything else, and both runs can be opened from here.
    const outcomes = await page.locator(".comparison tbody td:last-child").allInnerTexts();
    expect(outcomes[0]).toMatch(/^Worse/);
    expect(await page.locator(".two-runs a").count()).toBe(2);
    expect(console.troubles).toEqual([]);
    const { hash } = new URL(page.url());
    for (const setting of SETTINGS) {
      await using again = await openConsole(browser, practice.controller.url, setting, { hash });
      await again.page.locator(".comparison .verdict").waitFor();
      await again.page.locator(".comparison summary").click();
      expect(await seriousViolations(again.page), setting.name).toEqual([]);
      expect(await overhangPx(again.page), setting.name).toBeLessThanOrEqual(0);
    }
  });

  for (const setting of SETTINGS) {
    test(`${setting.name}: given every page in turn, then axe-core finds nothing serious, nothing sticks out, and the console is silent`, async () => {
      await using console = await openConsole(browser, practice.controller.url, setting);
      for (const name of PAGES) {
        await console.page.goto(`${practice.controller.url}/#/${name}`);
        await console.page.locator(`nav a[href="#/${name}"][aria-current="page"]`).waitFor();
        await settled(console.page);
        expect(await seriousViolations(console.page), name).toEqual([]);
        expect(await overhangPx(console.page), name).toBeLessThanOrEqual(0);
        expect(console.troubles, name).toEqual([]);
      }
    });
  }

  test("given the keyboard alone, then a place on the map can be reached and its figures read", async () => {
    await using console = await openConsole(browser, practice.controller.url, first(SETTINGS), { hash: "#/map" });
    const { page } = console;
    await page.waitForSelector("[data-node='tower']");
    await page.locator("[data-node='tower']").focus();
    for (const key of ["ArrowDown", "ArrowDown", "ArrowDown"]) await page.keyboard.press(key);
    expect(await page.evaluate("document.activeElement?.getAttribute('data-node')")).toBe("kiosk-1");
    const figures = await page.locator(".place-note").innerText();
    expect(figures).toContain("kiosk-1");
    expect(figures).toContain(DRY);
  });

  test("given a user who is disturbed by movement, then nothing on the map moves", async () => {
    const options = { hash: "#/run", motion: "reduce" } as const;
    await using console = await openConsole(browser, practice.controller.url, first(SETTINGS), options);
    const { page } = console;
    await start(page, "6s");
    await page.waitForSelector(`[data-node="board-1"][aria-label*="no loss"]`, { timeout: 20_000 });
    const asked = (await page.evaluate(COUNT_FRAMES_ASKED)) as number;
    // Some are asked for after each second's figures; an animation asks for sixty.
    expect(asked).toBeLessThan(20);
    await page.waitForSelector(".flag", { timeout: 30_000 });
  });
});

const first = (settings: readonly Setting[]): Setting => {
  const [setting] = settings;
  if (setting === undefined) throw new Error("no setting");
  return setting;
};

/** Starts `reach` from the tower on the page that is open at the run. */
async function start(page: Page, length: string): Promise<void> {
  await page.getByLabel("length").fill(length);
  const button = page.getByRole("button", { name: "Start the run" });
  await expect.poll(() => button.isEnabled(), { timeout: 10_000 }).toBe(true);
  await button.click();
  await page.waitForSelector("[data-node='tower']");
}

/** Waits until the page shows what it has to show. */
async function settled(page: Page): Promise<void> {
  const main = page.locator("main");
  await expect.poll(async () => (await main.innerText()).trim().length, { timeout: 15_000 }).toBeGreaterThan(20);
  await expect.poll(() => main.innerText(), { timeout: 15_000 }).not.toMatch(/Fetching|Asking/);
  await page.waitForTimeout(300); // what the page asks for once it is there: forecasts, series
}

/** How often the page asks for an animation frame within a second. */
const COUNT_FRAMES_ASKED = `new Promise((resolve) => {
  const ask = window.requestAnimationFrame;
  let count = 0;
  window.requestAnimationFrame = (step) => { count++; return ask.call(window, step); };
  setTimeout(() => { window.requestAnimationFrame = ask; resolve(count); }, 1000);
})`;
