import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { campusRun, SIXTY_SWITCHES, THOUSAND_HOSTS } from "./support/campus.ts";
import { openBrowser, openConsole, SETTINGS, troublesInBothSchemes } from "./support/console-browser.ts";
import { storedRun, type ToldConsole, tellConsole } from "./support/told-console.ts";

/** Another one: `CAMPUS_SEED=7 npm run browser -- tests/browser/campus-map.test.ts`. */
const SEED = Number(process.env["CAMPUS_SEED"] ?? 3);
const [WIDE, , , PHONE] = SETTINGS;

/** In the page: places within the map's frame whose name is not written. */
const NAMELESS_IN_SIGHT = `(() => {
  const frame = document.querySelector(".map-frame").getBoundingClientRect();
  return [...document.querySelectorAll(".map-frame [data-node]")].flatMap((node) => {
    const { left, right, top, bottom } = node.querySelector(".focus").getBoundingClientRect();
    const isIn = left >= frame.left && right <= frame.right && top >= frame.top && bottom <= frame.bottom;
    return isIn && node.querySelector("text") === null ? [node.dataset.node] : [];
  });
})()`;

describe(`console: given generated campuses with a cut link, seed ${SEED}`, () => {
  const sixty = campusRun(SIXTY_SWITCHES, SEED);
  const thousand = campusRun(THOUSAND_HOSTS, SEED);
  /** As the first, with as many hosts named in a note as may be missing of such a site. */
  const names = Array.from({ length: 195 }, (_, index) => `kiosk-${index + 1}`).join(", ");
  const absent = {
    ...sixty.report,
    run: "00000000000000f1",
    notes: [`Not connected, so nothing was watched there: ${names}.`],
  };
  let told: ToldConsole;
  let browser: Browser;
  beforeAll(async () => {
    browser = await openBrowser();
    told = await tellConsole();
    for (const { plan, report } of [sixty, thousand]) told.keep(storedRun(plan, report));
    told.keep(storedRun(sixty.plan, absent));
  });
  afterAll(async () => {
    await told?.[Symbol.asyncDispose]();
  });

  const drawn = (page: Page): Promise<number> => page.locator(".map-frame [data-node]").count();
  /** Names that are written now, by what they say. */
  const written = (page: Page): Promise<string[]> =>
    page
      .locator(".map-frame .node:not(.nameless) > text")
      .evaluateAll((all) => all.map((one) => one.textContent ?? ""));

  for (const setting of [WIDE, PHONE]) {
    if (setting === undefined) throw new Error("no setting");
    test(`${setting.name}: given sixty switches, then the finding is named and barred at once, hosts stand in groups, and nothing is a wall of names`, async () => {
      await using console = await openConsole(browser, told.url, setting, { hash: `#/map/${sixty.report.run}` });
      const { page } = console;
      const lower = sixty.cut?.split(">")[1]?.split(":")[0] ?? "";
      await page.locator(`[data-node="${lower}"]`).waitFor();
      expect(await page.locator(`[data-mark="stop"]`).getAttribute("data-channel")).toBe(lower);
      expect(await written(page)).toEqual(expect.arrayContaining([expect.stringMatching(new RegExp(`^${lower}`))]));
      expect(await drawn(page)).toBeLessThan(60);
      expect(await page.locator(".flag").count()).toBe(1);
      expect(await troublesInBothSchemes(page)).toEqual([]);
      // Everything is there for whoever wants it, and what is in trouble by itself.
      await page.getByRole("button", { name: "Unfold all" }).click();
      await expect.poll(() => drawn(page)).toBe(sixty.graph.nodes.size);
      await page.getByLabel("Hosts on the map").selectOption("trouble");
      await expect.poll(() => drawn(page)).toBeLessThan(30);
      const troubled = sixty.report.receipts.filter(({ received }) => received === 0).map(({ listener }) => listener);
      for (const name of troubled) expect(await page.locator(`[data-node="${name}"]`).count()).toBe(1);
      expect(console.troubles).toEqual([]);
    });
  }

  test("given a note that names 195 hosts, then its beginning stands there, and all of it when it is opened", async () => {
    if (PHONE === undefined) throw new Error("no setting");
    await using console = await openConsole(browser, told.url, PHONE, { hash: `#/findings/${absent.run}` });
    const note = console.page.getByRole("listitem").filter({ hasText: "Not connected" });
    await note.waitFor();
    expect((await note.innerText()).length).toBeLessThan(300);
    await note.locator("summary").click();
    expect(await note.innerText()).toContain("kiosk-195.");
    expect(await troublesInBothSchemes(console.page)).toEqual([]);
    expect(console.troubles).toEqual([]);
  });

  test("given a thousand hosts, then each name is written at some zoom, and the finding is zoomed to", async () => {
    if (WIDE === undefined) throw new Error("no setting");
    await using console = await openConsole(browser, told.url, WIDE, { hash: `#/map/${thousand.report.run}` });
    const { page } = console;
    const lower = thousand.cut?.split(">")[1]?.split(":")[0] ?? "";
    await page.locator(`[data-node="${lower}"]`).waitFor();
    await page.getByRole("link", { name: "Show it on the map" }).first().click();
    await expect
      .poll(async () => (await page.locator(`[data-node="${lower}"] text`).boundingBox())?.height ?? 0)
      .toBeGreaterThan(9);
    const box = await page.locator(`[data-node="${lower}"]`).boundingBox();
    const frame = await page.locator(".map-frame").boundingBox();
    expect(box !== null && frame !== null && box.x > frame.x && box.x < frame.x + frame.width).toBe(true);

    await page.getByRole("button", { name: "Unfold all" }).click();
    await expect.poll(() => drawn(page)).toBe(thousand.graph.nodes.size);
    await page.getByRole("button", { name: "Whole site" }).click();
    const atFirst = new Set(await written(page));
    for (let press = 0; press < 12; press++) await page.getByRole("button", { name: "Zoom in" }).click();
    await expect.poll(() => page.evaluate(NAMELESS_IN_SIGHT)).toEqual([]);
    // What is out of sight is not drawn one by one, and comes when the map is moved there.
    const near = await written(page);
    expect(near.length).toBeLessThan(thousand.graph.nodes.size);
    const [far] = [...thousand.graph.nodes.keys()].filter((name) => !near.some((one) => one.startsWith(name)));
    if (far === undefined) throw new Error("every name is written");
    await page.getByLabel("Find a node").fill(far);
    await expect.poll(async () => (await written(page)).some((name) => name.startsWith(far))).toBe(true);
    await expect.poll(() => page.evaluate(NAMELESS_IN_SIGHT)).toEqual([]);
    expect(atFirst.size).toBeLessThan(thousand.graph.nodes.size);
    expect(atFirst.size).toBeGreaterThan(10);
    expect(console.troubles).toEqual([]);
  });
});
