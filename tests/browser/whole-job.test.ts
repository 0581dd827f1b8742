import { execFileSync } from "node:child_process";
import { ControllerClient } from "@dyetrace/controller";
import type { Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { first, openConsole, PAGES, SETTINGS, troublesInEverySetting } from "./support/console-browser.ts";
import { DRY, type FaultyDemo, raiseFaultyDemo, runReach, start } from "./support/faulty-demo.ts";
import { countPresses, tabTo } from "./support/use-page.ts";

let demo: FaultyDemo;
let client: ControllerClient;
beforeAll(async () => {
  demo = await raiseFaultyDemo();
  client = new ControllerClient(demo.practice.controller.url);
  await runReach(demo);
  await runReach(demo);
});
afterAll(() => demo?.[Symbol.asyncDispose]());

describe("the whole job on the console: given the practice site with a fault, and two runs that found it", () => {
  const url = (): string => demo.practice.controller.url;
  const runs = async (): Promise<readonly { runId: string; state: string; scenario: string }[]> =>
    (await client.get("/api/runs")) as { runId: string; state: string; scenario: string }[];
  const over = async (): Promise<void> => {
    await client.ask("stopEverything");
    await expect.poll(async () => (await runs()).filter(({ state }) => state === "running").length).toBe(0);
  };
  const cancelAll = async (): Promise<void> => {
    for (const { runId, state } of await runs()) {
      if (state === "scheduled") await client.abortRun(runId);
    }
  };
  const link = (page: Page, name: string) => page.getByRole("link", { name, exact: true });
  const button = (page: Page, name: string) => page.getByRole("button", { name, exact: true });

  /** Jobs from the page that a fresh browser shows, with the most presses that each may take. */
  const JOBS: readonly [job: string, most: number, doIt: (page: Page) => Promise<void>][] = [
    ["see the site", 0, (page) => page.locator("[data-node='tower']").waitFor()],
    ["see the finding", 0, (page) => page.getByRole("heading", { name: /board stops between/ }).waitFor()],
    [
      "see its evidence",
      1,
      async (page) => {
        await page.getByRole("link", { name: "evidence, and what to look at" }).click();
        await page.locator(".finding-card").getByText("kiosk-1").first().waitFor();
      },
    ],
    [
      "compare the run with the one before",
      2,
      async (page) => {
        await link(page, "Runs").click();
        await link(page, "Compare with the one before").first().click();
        await page.locator(".comparison .verdict").waitFor();
      },
    ],
    [
      "take the report along",
      2,
      async (page) => {
        await link(page, "Runs").click();
        const download = page.waitForEvent("download");
        await link(page, "Report").first().click();
        expect((await download).suggestedFilename()).toMatch(/report\.html$/);
      },
    ],
    [
      "read the morning page",
      1,
      async (page) => {
        await link(page, "Night").click();
        // Two hosts got nothing at all: a page that says "none was lost" of this run says what is not so.
        await page.locator(".night-head b").getByText("kiosk-1").waitFor();
      },
    ],
    [
      "schedule a night",
      4,
      async (page) => {
        await link(page, "Run").click();
        await page.getByRole("radio", { name: /^soak/ }).click();
        await page.getByLabel("Later", { exact: true }).click();
        await button(page, "Schedule the run").click();
        await page.getByRole("heading", { name: "1 scheduled run" }).waitFor();
      },
    ],
    [
      "start a run",
      2,
      async (page) => {
        await link(page, "Run").click();
        await button(page, "Start the run").click();
        await page.locator(".pages.is-live").waitFor();
      },
    ],
  ];

  for (const [job, most, doIt] of JOBS) {
    test(`given the start page, then to ${job} takes ${most === 1 ? "1 press" : `${most} presses`}`, async () => {
      await using console = await openConsole(demo.browser, url(), first(SETTINGS));
      await console.page.locator("[data-node='tower']").waitFor();
      const presses = await countPresses(console.page);
      await doIt(console.page);
      expect(await presses()).toBeLessThanOrEqual(most);
      expect(console.troubles).toEqual([]);
      await over();
      await cancelAll();
    });
  }

  test("given a night scheduled with its times and zone, then it stands with its start on two pages, and is cancelled there", async () => {
    await using console = await openConsole(demo.browser, url(), first(SETTINGS), { hash: "#/run" });
    const { page } = console;
    await page.getByRole("radio", { name: /^soak/ }).click();
    await page.getByLabel("Later", { exact: true }).click();
    await page.getByLabel("Time zone").selectOption("Europe/Berlin");
    const day = new Date(Date.now() + 2 * 86_400_000).toISOString().slice(0, 10);
    await page.getByLabel("Start", { exact: true }).fill(`${day}T22:00`);
    await page.getByLabel("End", { exact: true }).fill(`${day}T21:00`);
    await page.getByText("The end is before the start.").waitFor();
    expect(await button(page, "Schedule the run").count()).toBe(0);
    await page.getByLabel("End", { exact: true }).fill(`${day}T23:30`);
    await page.getByText("about 1.5 h").waitFor();
    await button(page, "Schedule the run").click();
    await page.getByRole("heading", { name: "1 scheduled run" }).waitFor();
    const stored = (await client.get("/api/runs?most=1")) as { state: string; startAt: string }[];
    expect(stored[0]?.state).toBe("scheduled");
    // By an independent reading of the zone: the offset that the runtime itself writes out.
    const shown = new Date(stored[0]?.startAt ?? "").toLocaleString("sv", { timeZone: "Europe/Berlin" });
    expect(shown).toBe(`${day} 22:00:00`);
    await expect.poll(() => page.locator(".scheduled").innerText()).toContain("lasts 1.5 h");
    await link(page, "Runs").click();
    await page.locator(".scheduled").getByText("starts").waitFor();
    await button(page, "Cancel soak").click();
    await button(page, "Really cancel soak?").click();
    await page.locator(".scheduled").waitFor({ state: "detached" });
    expect(console.troubles).toEqual([]);
  });

  test("given a run, then it is named, tagged and noted in its row, and found again by that", async () => {
    await using console = await openConsole(demo.browser, url(), first(SETTINGS), { hash: "#/runs" });
    const { page } = console;
    const row = page.locator(".run-table tbody tr").filter({ hasText: "reach" }).last();
    await row.getByText("name, tags, note").click();
    await row.getByLabel("Name it as a baseline").fill("before-upgrade");
    await row.getByRole("button", { name: "Give the name" }).click();
    await row.getByRole("button", { name: "Take the name before-upgrade away" }).waitFor();
    await row.getByLabel("Tag").fill("pier");
    await row.getByRole("button", { name: "Add the tag" }).click();
    await row.getByRole("button", { name: "Remove the tag pier" }).waitFor();
    await row.getByLabel("Note").fill("the morning of the new switch");
    await row.getByRole("button", { name: "Keep the note" }).click();
    await page.getByText("the morning of the new switch").waitFor();
    await page.getByLabel(/^Search by/).fill("pier");
    expect(await page.locator(".run-table tbody tr").count()).toBe(1);
    await page.getByLabel(/^Search by/).fill("");
    await link(page, "Compare with before-upgrade").first().click();
    await page.locator(".comparison .verdict").waitFor();
    expect(console.troubles).toEqual([]);
  });

  test("given the practice page, then a fault is explained, put in, seen in the kernel, and taken out again", async () => {
    await using console = await openConsole(demo.browser, url(), first(SETTINGS), { hash: "#/practice" });
    const { page } = console;
    await page.getByRole("combobox", { name: "Fault", exact: true }).selectOption("snooping-off");
    await page.getByText("The switch sends every group out of every port.").waitFor();
    await page.getByRole("combobox", { name: "Place", exact: true }).selectOption("pier-west");
    await button(page, "Put the fault in").click();
    await page.getByRole("heading", { name: "1 fault stands" }).waitFor();
    const snooping = async (): Promise<string> => {
      const file = "/sys/class/net/br0/bridge/multicast_snooping";
      return (await demo.practice.site.exec("pier-west", ["cat", file])).stdout.trim();
    };
    expect(await snooping()).toBe("0");
    expect(await troublesInEverySetting(page)).toEqual([]);
    // A mistake is told, and changes nothing.
    await page.getByRole("combobox", { name: "Fault", exact: true }).selectOption("mtu");
    await page.getByLabel(/^size/).fill("2000 B");
    await button(page, "Put the fault in").click();
    await page.getByText("2000 B is no smaller MTU").waitFor();
    await button(page, "Take snooping-off out").click();
    await page.getByRole("heading", { name: "No fault stands" }).waitFor();
    expect(await snooping()).toBe("1");
    // The browser itself notes that the mistake was refused.
    expect(console.troubles.filter((trouble) => !trouble.includes("400"))).toEqual([]);
  });

  test("given the keyboard alone, then a run is started, its finding read, compared, a night scheduled, and everything stopped", async () => {
    await using console = await openConsole(demo.browser, url(), first(SETTINGS));
    const { page } = console;
    const enter = () => page.keyboard.press("Enter");
    const nav = (name: string) => page.locator("nav").getByRole("link", { name, exact: true });
    /** The names of the pages stay in sight when a page is opened. */
    const openPage = async (name: string, back: boolean): Promise<void> => {
      await tabTo(page, nav(name), back);
      await enter();
      await page.locator(`nav a[aria-current="page"][data-name="${name}"]`).waitFor();
      expect(await page.evaluate("scrollY")).toBe(0);
    };
    await page.locator("[data-node='tower']").waitFor();
    await openPage("Run", false);
    await tabTo(page, page.getByLabel("length"));
    await page.keyboard.type("4s");
    await expect.poll(() => button(page, "Start the run").isEnabled()).toBe(true);
    await tabTo(page, button(page, "Start the run"));
    await enter();
    await page.locator(".flag").waitFor({ timeout: 60_000 });

    await tabTo(page, page.getByRole("link", { name: "evidence, and what to look at" }).first());
    await enter();
    await page.locator(".finding-card").first().waitFor();
    await openPage("Runs", true);
    await tabTo(page, link(page, "Compare with the one before").first());
    await enter();
    await page.locator(".comparison .verdict").waitFor();

    await openPage("Run", true);
    await tabTo(page, page.getByRole("radio", { name: /^reach/ }));
    for (let step = 0; step < 12 && !(await page.getByRole("radio", { name: /^soak/ }).isChecked()); step++) {
      await page.keyboard.press("ArrowDown");
    }
    await tabTo(page, page.getByRole("radio", { name: "Now" }));
    await page.keyboard.press("ArrowRight");
    await tabTo(page, button(page, "Schedule the run"));
    await enter();
    await page.getByRole("heading", { name: "1 scheduled run" }).waitFor();
    await tabTo(page, button(page, "Cancel soak"), true);
    await enter();
    await enter();
    await page.locator(".scheduled").waitFor({ state: "detached" });

    await tabTo(page, button(page, "Stop every source"), true);
    await enter();
    await enter();
    await page.getByText("Told to stop sending:").waitFor();
    expect(console.troubles).toEqual([]);
  });

  test("given a run, then its evidence is one archive, with the report of that run in it", async () => {
    await using console = await openConsole(demo.browser, url(), first(SETTINGS), { hash: "#/runs" });
    const { page } = console;
    const row = page.locator(".run-table tbody tr").filter({ hasText: "reach" }).last();
    await row.getByText("other files").click();
    const download = page.waitForEvent("download");
    await row.getByRole("link", { name: "evidence.zip" }).click();
    const file = await (await download).path();
    // Read by the standard library of another language.
    const script =
      "import json,sys,zipfile; z = zipfile.ZipFile(sys.argv[1]); print(z.testzip()); print(json.loads(z.read(next(n for n in z.namelist() if n.endswith('report.json'))))['run'])";
    const [damaged, run] = execFileSync("python3", ["-c", script, file], { encoding: "utf8" }).trim().split("\n");
    expect(damaged).toBe("None");
    expect(run).toBe(
      (await runs()).filter(({ scenario, state }) => scenario === "reach" && state === "done").at(-1)?.runId,
    );
    expect(console.troubles).toEqual([]);
  });

  test("given every page of the job with something on it, then in every setting axe-core finds nothing, nothing sticks out, and Stop is in its head", async () => {
    await using console = await openConsole(demo.browser, url(), first(SETTINGS), { hash: "#/run" });
    const { page } = console;
    const look = async (what: string): Promise<void> => {
      await console.settled();
      expect(await troublesInEverySetting(page), what).toEqual([]);
      expect(await button(page, "Stop every source").isVisible(), what).toBe(true);
    };
    await page.getByRole("radio", { name: /^soak/ }).click();
    await page.getByLabel("Later", { exact: true }).click();
    await button(page, "Schedule the run").click();
    await page.getByRole("heading", { name: "1 scheduled run" }).waitFor();
    await page.getByLabel("Later", { exact: true }).click();
    await look("a night to be scheduled");
    await link(page, "Night").click();
    await page.locator(".night-rows").waitFor();
    await look("the morning page");
    await link(page, "Runs").click();
    await button(page, "Cancel soak").click();
    await button(page, "Really cancel soak?").click();
    await page.locator(".scheduled").waitFor({ state: "detached" });
    // Who cancelled it, and that it had not begun; it did not fail.
    const cancelled = page.locator(".run-table tbody tr").filter({ hasText: "soak" }).first();
    await expect.poll(() => cancelled.innerText()).toContain("Cancelled");
    expect(await cancelled.innerText()).toContain("by somebody at the controller's machine before its start");
    for (const summary of await page.locator(".run-table summary").all()) await summary.click();
    await look("runs with everything open");
    await cancelled.getByRole("link", { name: "soak", exact: true }).click();
    // The list told of it as well, and is gone.
    await page.locator(".run-table").waitFor({ state: "detached" });
    await page.getByText("before its start").first().waitFor();
    await look("a cancelled run");
    expect(console.troubles).toEqual([]);
  });
});

describe("the pages of the console: given the practice site with a fault, and runs that found it", () => {
  test("given every page in turn, then in every setting axe-core finds nothing serious, nothing sticks out, and the console is silent", async () => {
    await using console = await openConsole(demo.browser, demo.practice.controller.url, first(SETTINGS));
    const { page } = console;
    for (const name of PAGES) {
      await page.goto(`${demo.practice.controller.url}/#/${name}`);
      await page.locator(`nav a[href^="#/${name}"][aria-current="page"]`).waitFor();
      const words = () => page.locator("main").innerText();
      await expect.poll(async () => (await words()).trim().length, { message: name }).toBeGreaterThan(20);
      await expect.poll(words, { message: name }).not.toMatch(/Fetching|Asking/);
      await console.settled();
      expect(await troublesInEverySetting(page), name).toEqual([]);
      expect(console.troubles, name).toEqual([]);
    }
  });

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
    expect(await troublesInEverySetting(page)).toEqual([]);
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

/** How often the page asks for an animation frame within a second. */
const COUNT_FRAMES_ASKED = `new Promise((resolve) => {
  const ask = window.requestAnimationFrame;
  let count = 0;
  window.requestAnimationFrame = (step) => { count++; return ask.call(window, step); };
  setTimeout(() => { window.requestAnimationFrame = ask; resolve(count); }, 1000);
})`;
