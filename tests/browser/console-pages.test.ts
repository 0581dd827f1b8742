import type { Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { first, openConsole, overhangPx, PAGES, SETTINGS, seriousViolations } from "./support/console-browser.ts";
import { DRY, type FaultyDemo, PLAN, raiseFaultyDemo, runReach, start } from "./support/faulty-demo.ts";

describe("console: given the practice site with a fault and a run that found it", () => {
  let demo: FaultyDemo;
  beforeAll(async () => {
    demo = await raiseFaultyDemo();
    await runReach(demo);
  });
  afterAll(() => demo?.[Symbol.asyncDispose]());

  test("given a mistake is typed into the plan, then it shows at its line, the last good map stays, and mending it ends both", async () => {
    await using console = await openConsole(demo.browser, demo.practice.controller.url, first(SETTINGS), {
      hash: "#/plan",
    });
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

  for (const setting of SETTINGS) {
    test(`${setting.name}: given every page in turn, then axe-core finds nothing serious, nothing sticks out, and the console is silent`, async () => {
      await using console = await openConsole(demo.browser, demo.practice.controller.url, setting);
      for (const name of PAGES) {
        await console.page.goto(`${demo.practice.controller.url}/#/${name}`);
        await console.page.locator(`nav a[href^="#/${name}"][aria-current="page"]`).waitFor();
        await settled(console.page);
        expect(await seriousViolations(console.page), name).toEqual([]);
        expect(await overhangPx(console.page), name).toBeLessThanOrEqual(0);
        expect(console.troubles, name).toEqual([]);
      }
    });
  }

  test("given the keyboard alone, then a place on the map can be reached and its figures read", async () => {
    await using console = await openConsole(demo.browser, demo.practice.controller.url, first(SETTINGS), {
      hash: "#/map",
    });
    const { page } = console;
    await page.waitForSelector("[data-node='tower']");
    await page.locator("[data-node='tower']").focus();
    for (const key of ["ArrowDown", "ArrowDown", "ArrowDown"]) await page.keyboard.press(key);
    expect(await page.evaluate("document.activeElement?.getAttribute('data-node')")).toBe("kiosk-1");
    const figures = await page.locator(".place-note").innerText();
    expect(figures).toContain("kiosk-1");
    expect(figures).toContain(DRY);
  });

  test("given the story of the run, then it zooms by key and by wheel, and tells one group or one finding alone", async () => {
    await using console = await openConsole(demo.browser, demo.practice.controller.url, first(SETTINGS), {
      hash: "#/story",
    });
    const { page } = console;
    await page.locator(".story-picture").waitFor();
    const axis = async () => (await page.locator(".story-axis").allTextContents()).join(" ");
    const names = async () => new Set(await page.locator(".story-picture .story-name").allTextContents());
    expect(await names()).toContain("tower");
    // The practice site's own switches stand beside it.
    expect([...(await names())].some((name) => /^core, port /.test(name))).toBe(true);
    const whole = await axis();
    await page.locator(".story-frame").focus();
    await page.keyboard.press("+");
    await page.keyboard.press("+");
    await expect.poll(axis).not.toBe(whole);
    await page.keyboard.press("0");
    await expect.poll(axis).toBe(whole);
    await page.locator(".story-frame").hover();
    await page.keyboard.down("Shift");
    await page.mouse.wheel(0, -600);
    await page.keyboard.up("Shift");
    await expect.poll(axis).not.toBe(whole);
    await page.getByRole("button", { name: "Whole time" }).click();
    const everyone = (await names()).size;
    await page.getByLabel("about").selectOption("1");
    await expect.poll(async () => (await names()).size).toBeLessThan(everyone);
    expect(await names()).toContain("kiosk-1");
    await page.getByText("In words").click();
    await expect.poll(() => page.locator(".story-list").innerText()).toContain("kiosk-1");
    expect(await seriousViolations(page)).toEqual([]);
    expect(console.troubles).toEqual([]);
  });

  test("given a user who is disturbed by movement, then nothing on the map moves", async () => {
    const options = { hash: "#/run", motion: "reduce" } as const;
    await using console = await openConsole(demo.browser, demo.practice.controller.url, first(SETTINGS), options);
    const { page } = console;
    await start(page, "6s");
    await page.waitForSelector(`[data-node="board-1"][aria-label*="no loss"]`, { timeout: 20_000 });
    const asked = (await page.evaluate(COUNT_FRAMES_ASKED)) as number;
    // Some are asked for after each second's figures; an animation asks for sixty.
    expect(asked).toBeLessThan(20);
    await page.waitForSelector(".flag", { timeout: 30_000 });
  });
});

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
