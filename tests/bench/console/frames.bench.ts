/**
 * Frames of the map with 1,000 hosts while it is moved, zoomed and scrolled, at the desk's and the phone's width:
 *
 *   npx vite build packages/console && nice -n -10 npx vitest run --config tests/bench/console/vitest.config.ts
 *
 * Printed are the compositor's frames a second, the time from one to the next (p50, p95, longest), and the processor time of
 * the page's threads for each frame, which other programs on the machine don't change much.
 */
import type { LiveMark } from "@dyetrace/wire/console/live-second";
import { test } from "vitest";
import { campusRun, THOUSAND_HOSTS } from "../../browser/support/campus.ts";
import { openBrowser, openConsole, SETTINGS } from "../../browser/support/console-browser.ts";
import { reachOutline, storedRun, tellConsole, toldRun } from "../../browser/support/told-console.ts";
import { measuredFrames } from "./measured-frames.ts";
import { LOOK_ON, MOVE_MAP, SCROLL_PAGE, SCROLL_STRIPS } from "./move-map.ts";

const SEED = 3;
const MEASURED_MS = 5000;
/** After a gesture the map is drawn anew at its scale. */
const SETTLED_MS = 800;
/**
 * A run goes on, and the dye in the page's head moves with it, so that a frame is due sixty times a second. To press a button
 * below the window's edge scrolls the head out of sight: then no frame is due from the last movement of the map until it is
 * drawn anew, and these 250 ms and the redraw would count as one frame.
 */
const TO_THE_TOP = "scrollTo(0, 0)";
const RUNNING = "00000000000000b1";
/** When the page comes to it. */
const RUNS_FOR_S = 98;
const markOf = (received: number | null): LiveMark => (received === 0 ? "-" : "f");
const [DESK, , PHONE] = SETTINGS;

test("frames of the map with 1,000 hosts", async () => {
  const { plan, report, graph } = campusRun(THOUSAND_HOSTS, SEED);
  const outline = reachOutline(plan, 600_000);
  const streams = outline.streams.map((one) => ({ ...one, source: "head-end" }));
  const strips = report.receipts.map(({ listener, received }) => ({
    agent: listener,
    streamId: 1,
    from: 0,
    marks: markOf(received).repeat(RUNS_FOR_S),
    last: null,
  }));
  await using told = await tellConsole({
    run: toldRun(RUNNING, { ...outline, streams }, { atMs: RUNS_FOR_S * 1000, lastsMs: 600_000 }),
    strips,
    isLive: true,
  });
  told.keep(storedRun(plan, report));
  const browser = await openBrowser();
  /** Every listener tells every second: what nobody reports stands still, and there would be no water to draw. */
  const goOn = (): (() => void) => {
    let second = RUNS_FOR_S;
    const timer = setInterval(() => {
      const cells = report.receipts.map(({ listener, received }) => ({
        agent: listener,
        streamId: 1,
        second,
        mark: markOf(received),
        figures: null,
      }));
      told.tell({ kind: "live", runId: RUNNING, cells });
      second += 1;
    }, 1000);
    return () => clearInterval(timer);
  };
  try {
    /** @param presses of the button that zooms in */
    const scene = (name: string, run: string, isWhole: boolean, act: string, setting = DESK, presses = 0) => ({
      name,
      run,
      isWhole,
      act,
      setting,
      presses,
    });
    const over = report.run;
    const scenes = [
      scene("folded, moved and zoomed", over, false, MOVE_MAP),
      scene("unfolded, moved and zoomed", over, true, MOVE_MAP),
      scene("unfolded, near, moved and zoomed", over, true, MOVE_MAP, DESK, 5),
      scene("unfolded, water runs", RUNNING, true, LOOK_ON),
      scene("unfolded, near, water runs", RUNNING, true, LOOK_ON, DESK, 5),
      scene("unfolded, water runs, moved and zoomed", RUNNING, true, MOVE_MAP),
      scene("folded, scrolled", over, false, SCROLL_PAGE, PHONE),
      scene("unfolded, scrolled", over, true, SCROLL_PAGE, PHONE),
      scene("unfolded, water runs, scrolled", RUNNING, true, SCROLL_PAGE, PHONE),
    ];
    const only = process.env["SCENES"]?.split(",").map(Number);
    const isWanted = (index: number): boolean => only === undefined || only.includes(index);
    for (const [index, { name, setting, run, isWhole, presses, act }] of scenes.entries()) {
      if (setting === undefined || !isWanted(index)) continue;
      await using console = await openConsole(browser, told.url, setting, { hash: `#/map/${run}` });
      const { page } = console;
      const end = goOn();
      await page.locator("[data-node='core']").waitFor();
      await page.waitForFunction("performance.getEntriesByName('map-drawn').length > 0");
      const firstMs = await page.evaluate("performance.getEntriesByName('map-drawn')[0].startTime");
      if (isWhole) {
        await page.getByRole("button", { name: "Unfold all" }).click();
        await page.waitForFunction(`document.querySelectorAll('[data-node]').length >= ${graph.nodes.size}`);
        if (setting === DESK) await page.getByRole("button", { name: "Whole site" }).click();
      }
      for (let press = 0; press < presses; press++) await page.getByRole("button", { name: "Zoom in" }).click();
      await page.evaluate(TO_THE_TOP);
      await page.waitForTimeout(1000);
      const parts = await page.evaluate("document.querySelectorAll('.map-ground *').length");
      const frames = await measuredFrames(page, async () => {
        await page.evaluate(`${act}(${MEASURED_MS})`);
        await page.waitForTimeout(SETTLED_MS);
      });
      end();
      process.stdout.write(
        `${setting.width} px, ${name}: ${frames}; ${parts} parts of the drawing, first picture ${Number(firstMs).toFixed(0)} ms\n`,
      );
    }
    if (DESK === undefined || !isWanted(scenes.length)) return;
    await using console = await openConsole(browser, told.url, DESK, { hash: `#/live/${RUNNING}` });
    await console.page.locator(".live-frame canvas").first().waitFor();
    const end = goOn();
    const frames = await measuredFrames(console.page, () => console.page.evaluate(`${SCROLL_STRIPS}(${MEASURED_MS})`));
    end();
    process.stdout.write(`${DESK.width} px, ${strips.length} live strips, scrolled: ${frames}\n`);
  } finally {
    await browser.close();
  }
});
