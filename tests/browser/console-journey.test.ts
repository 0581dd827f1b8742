import { ControllerClient } from "@dyetrace/controller";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { first, openConsole, SETTINGS, troublesInEverySetting } from "./support/console-browser.ts";
import { DRY, type FaultyDemo, raiseFaultyDemo, runReach, start } from "./support/faulty-demo.ts";

describe("console: given the practice site with everything lost on the way to the eastern pier", () => {
  let demo: FaultyDemo;
  beforeAll(async () => {
    demo = await raiseFaultyDemo();
  });
  afterAll(() => demo?.[Symbol.asyncDispose]());

  /** Frames that have left the source's interface, by the kernel's own counter. */
  const framesSent = async (): Promise<number> => {
    const { stdout } = await demo.practice.site.exec("tower", ["cat", "/sys/class/net/eth0/statistics/tx_packets"]);
    return Number(stdout.trim());
  };

  for (const setting of SETTINGS.filter(({ name }) => name === "390 px, dark")) {
    test(`${setting.name}: given a run started on the page, then the fault shows on the map live, and its finding can be read`, async () => {
      await using console = await openConsole(demo.browser, demo.practice.controller.url, setting, { hash: "#/run" });
      const { page } = console;
      await start(page, "5s");
      // The map comes up by itself; the water stands in front of the pier before anybody has concluded anything.
      await page.waitForSelector(`[data-node="kiosk-1"][aria-label*="${DRY}"]`, { timeout: 20_000 });
      await page.waitForSelector(`[data-node="board-1"][aria-label*="no loss"]`, { timeout: 5_000 });
      await page.locator(".dry-front").waitFor({ timeout: 5_000 });
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
    const client = new ControllerClient(demo.practice.controller.url);
    const [run] = (await client.get("/api/runs?most=1")) as { readonly runId: string }[];
    const hash = `#/findings/${run?.runId}`;
    await using console = await openConsole(demo.browser, demo.practice.controller.url, first(SETTINGS), {
      hash,
    });
    const { page } = console;
    await page.getByRole("button", { name: "Tell these suspects apart" }).click();
    await page.getByText("This repeats what failed").waitFor();
    await page.getByRole("button", { name: "Send the probe" }).click();
    await page.waitForSelector(".flag", { timeout: 60_000 });
    await page.goto(`${demo.practice.controller.url}/${hash}`);
    const said = page.locator(".finding-card .probe-said");
    await said.getByText("ruled out").first().waitFor();
    await said.getByRole("link").click();
    await page.getByRole("heading", { name: "What this probe parts" }).waitFor();
    expect(console.troubles).toEqual([]);
  });

  test("given a run is stopped on the page, then by the kernel's counter its source is silent within a second", async () => {
    await using console = await openConsole(demo.browser, demo.practice.controller.url, first(SETTINGS), {
      hash: "#/run",
    });
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
    await page.getByRole("heading", { name: "What to run" }).waitFor({ timeout: 20_000 });
    expect(console.troubles).toEqual([]);
  });

  test("given a run without the fault and a later one with it, then their comparison says what got worse, and that first", async () => {
    const run = (): Promise<void> => runReach(demo, { group: "239.195.10.77" });
    await demo.practice.site.lift(demo.faults);
    await demo.practice.site.settled();
    try {
      await run();
    } finally {
      await demo.practice.site.inject(demo.faults);
    }
    await run();
    await using console = await openConsole(demo.browser, demo.practice.controller.url, first(SETTINGS), {
      hash: "#/runs",
    });
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
    await page.locator(".comparison summary").click();
    expect(await troublesInEverySetting(page)).toEqual([]);
  });
});
