import type { RunReport } from "@dyetrace/wire";
import type { Browser, Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { openBrowser, openConsole, SETTINGS, troublesInBothSchemes } from "./support/console-browser.ts";
import { type RecordedName, recorded } from "./support/recorded.ts";
import { storedRun, type ToldConsole, tellConsole } from "./support/told-console.ts";

/** As the recorded run, but frames leaked out at three hosts: two on one row, and one above healthy outlets. */
const THREE_LEAKS = "00000000000000a3";
function threeLeaks(): RunReport {
  const { report } = recorded("leak");
  const leaking = new Set(["kiosk-2", "board-2", "office", "till-1", "till-2"]);
  return {
    ...report,
    run: THREE_LEAKS,
    bystanders: report.bystanders.map((one) =>
      leaking.has(one.agent) ? { ...one, frames: 500, firstMs: 1000, lastMs: 5000 } : one,
    ),
  };
}

/** As the recorded run, with a list of gaps that was cut as the controller cuts it. */
const CUT_LIST = "00000000000000c5";
function cutList(): RunReport {
  const { report } = recorded("gaps");
  return {
    ...report,
    run: CUT_LIST,
    receipts: report.receipts.map((receipt) => ({ ...receipt, gaps: receipt.gaps.slice(0, 100) })),
  };
}

/** As the recorded run, but of a stream that flows already: its source has no agent. @param source as the report names it */
function followed(run: string, source: string) {
  const { plan, report } = recorded("block");
  const streams = report.streams.map((one) => ({ ...one, source, production: true, sent: null, format: "mpeg-ts" }));
  return storedRun(plan.replace("tower: { kind: host }", "tower: { kind: host, agent: none }"), {
    ...report,
    run,
    streams,
  });
}
const FOLLOWED = "00000000000000d1";
const FROM_ANYWHERE = "00000000000000d2";

/** In the page: names that a flag lies on. */
const NAMES_BEHIND_FLAGS = `(() => {
  const flags = [...document.querySelectorAll(".map-frame .flag rect")].map((one) => one.getBoundingClientRect());
  return [...document.querySelectorAll(".map-frame .node text")].flatMap((text) => {
    const name = text.getBoundingClientRect();
    const isHidden = flags.some((flag) =>
      flag.left < name.right && name.left < flag.right && flag.top < name.bottom && name.top < flag.bottom);
    return isHidden ? [text.textContent] : [];
  });
})()`;

describe("console: given recorded runs with faults in them", () => {
  let told: ToldConsole;
  let browser: Browser;
  beforeAll(async () => {
    browser = await openBrowser();
    told = await tellConsole();
    const names: readonly RecordedName[] = [
      "vlans-stop",
      "vlans-core",
      "vlans-rb",
      "ring-ok",
      "ring-rc",
      "block",
      "outages",
    ];
    for (const { plan, report } of names.map(recorded)) told.keep(storedRun(plan, report));
    told.keep(storedRun(recorded("leak").plan, threeLeaks()));
    told.keep(storedRun(recorded("gaps").plan, cutList()));
    told.keep(followed(FOLLOWED, "tower"));
    told.keep(followed(FROM_ANYWHERE, "192.0.2.9"));
  });
  afterAll(async () => {
    await told?.[Symbol.asyncDispose]();
  });

  /** Another run on the page that is open, with a place that its map has. */
  async function show(page: Page, run: string, node: string, what = "map"): Promise<void> {
    await page.goto(`${told.url}/#/${what}/${run}`);
    if (what === "map") await page.locator(`[data-node="${node}"]`).waitFor();
    await page.waitForTimeout(100);
  }
  const runOf = (name: RecordedName): string => recorded(name).report.run;
  const waterOf = (page: Page, node: string): Promise<string | null> =>
    page.locator(`[data-channel="${node}"]`).getAttribute("data-water");
  const barred = (page: Page): Promise<string[]> =>
    page
      .locator(`[data-mark="stop"]`)
      .evaluateAll((all) => all.map((one) => one.getAttribute("data-channel") ?? "").sort());
  const says = async (page: Page, node: string): Promise<string> =>
    (await page.locator(`[data-node="${node}"]`).getAttribute("aria-label")) ?? "";

  test("given a followed stream whose source has no agent, then the map hangs at its node with water in it; given one that the plan does not place, then the site is drawn dry, and why is said", async () => {
    if (SETTINGS[0] === undefined) throw new Error("no setting");
    await using console = await openConsole(browser, told.url, SETTINGS[0], { hash: `#/map/${FOLLOWED}` });
    const { page } = console;
    await page.locator("[data-node='tower'][aria-label*='source']").waitFor();
    expect(await waterOf(page, "pier-west")).toBe("flows");
    await show(page, FOLLOWED, "", "findings");
    await page.locator(".finding-card .finding-pictures svg").first().waitFor();
    await show(page, FROM_ANYWHERE, "core");
    await page.getByText("The plan does not have its sender, so its way cannot be drawn").waitFor();
    expect(await page.locator("[data-water='flows']").count()).toBe(0);
    expect(await troublesInBothSchemes(page)).toEqual([]);
    expect(console.troubles).toEqual([]);
  });

  for (const setting of [SETTINGS[0], SETTINGS[3]]) {
    if (setting === undefined) throw new Error("no setting");
    test(`${setting.name}: given VLANs and routers, then each VLAN has its lane, the bar stands where the water ends, and no router that carried it is dry`, async () => {
      await using console = await openConsole(browser, told.url, setting, { hash: `#/map/${runOf("vlans-stop")}` });
      const { page } = console;
      await page.locator(`[data-node="pier-east vlan 20"]`).waitFor();
      expect(await page.locator(".lane").evaluateAll((all) => all.map((one) => one.textContent))).toEqual([
        "VLAN 10 boards",
        "VLAN 20 kiosks",
        "VLAN 30 offices",
      ]);
      expect(await barred(page)).toEqual(["pier-east vlan 20"]);
      for (const node of ["pier-east vlan 10", "router-a", "core vlan 20", "router-b", "hall vlan 30"]) {
        expect(await waterOf(page, node), node).toBe("flows");
      }
      expect(await waterOf(page, "pier-east vlan 20")).toBe("dry");
      expect(await page.evaluate(NAMES_BEHIND_FLAGS)).toEqual([]);
      expect(await troublesInBothSchemes(page)).toEqual([]);

      // A trunk that is cut whole is barred in both of its VLANs; a router, in front of it.
      await show(page, runOf("vlans-core"), "pier-east vlan 20");
      expect(await barred(page)).toEqual(["pier-east vlan 10", "pier-east vlan 20"]);
      await show(page, runOf("vlans-rb"), "router-b");
      expect(await barred(page)).toEqual(["router-b"]);
      expect(await waterOf(page, "hall vlan 20")).toBe("flows");
      expect(await waterOf(page, "router-a")).toBe("flows");

      // Of two routers with equal routes nobody knows which one carried it: neither is dry, and none is drawn full.
      await show(page, runOf("ring-ok"), "ra2");
      expect([await waterOf(page, "ra"), await waterOf(page, "ra2")]).toEqual(["unknown", "unknown"]);
      expect(await waterOf(page, "rc")).toBe("flows");
      expect(await page.locator(".body.dry").count()).toBe(0);
      await show(page, runOf("ring-rc"), "rc");
      expect(await barred(page)).toEqual(["rc"]);
      expect(await waterOf(page, "core vlan 2")).toBe("flows");
      expect(console.troubles).toEqual([]);
    });

    test(`${setting.name}: given leaks, a host's own block, outages and a list of gaps that was cut, then each is drawn as what it is`, async () => {
      await using console = await openConsole(browser, told.url, setting, { hash: `#/map/${THREE_LEAKS}` });
      const { page } = console;
      await page.locator(`[data-node="office"]`).waitFor();
      const beads = await page.evaluate<{ count: number; touching: number; inTheWay: number }>(BEADS);
      expect(beads.count).toBeGreaterThan(4);
      expect(beads).toMatchObject({ touching: 0, inTheWay: 0 });

      await show(page, runOf("block"), "kiosk-1");
      expect(await waterOf(page, "kiosk-1")).toBe("flows");
      expect(await says(page, "kiosk-1")).toContain("came to the network card, not to the program");
      expect(await barred(page)).toEqual([]);
      expect(await page.locator(".map-frame .dry, .map-frame .dry-front").count()).toBe(0);

      await show(page, runOf("outages"), "board-1");
      expect(await says(page, "board-1")).toBe("board-1 6.7 % lost, in outages, host");
      expect(await page.locator(`[data-node="board-1"] .break`).count()).toBe(1);
      expect(await waterOf(page, "pier-west")).toBe("breaks");
      const key = await page.locator(".key").innerText();
      for (const words of ["under 0.1 % lost", "10 % or more lost", "all but outages", "to the network card only"]) {
        expect(key).toContain(words);
      }

      await show(page, CUT_LIST, "", "findings");
      const chart = page.locator(".chart", { hasText: "When packets were missing" });
      await chart.waitFor();
      expect(await chart.locator("figcaption").innerText()).toContain("does not list every gap");
      expect(await chart.locator(".channel-bar.unknown").count()).toBe(2);
      expect(await chart.locator(".behind").count()).toBe(0);
      expect(await chart.innerText()).toMatch(
        /692 packets, 506 gaps, longest 31.6 ms, times of 5\d\d packets not listed/,
      );
      expect(await page.locator(".finding-head").innerText()).toContain("confidence 85 %");
      // On paper: light whatever the screen is, with the map on the page and nothing to press.
      await page.emulateMedia({ media: "print" });
      expect(await page.evaluate("getComputedStyle(document.documentElement).backgroundColor")).toBe(
        "rgb(255, 255, 255)",
      );
      expect(await page.locator(".site-picture").first().isVisible()).toBe(true);
      expect(await page.locator("nav.pages, .press:visible").filter({ visible: true }).count()).toBe(0);
      expect(console.troubles).toEqual([]);
    });
  }
});

/**
 * Beads of leaks on the map: how many paths, how many whose beads are wider than the space from one to the next, and how
 * many with a bead in a channel that healthy dye runs in.
 */
const BEADS = `(() => {
  const paths = [...document.querySelectorAll(".map-frame .dye.seeps")];
  const healthy = [...document.querySelectorAll(".map-frame .dye:not(.seeps)")];
  const touching = paths.filter((path) => {
    const { strokeWidth, strokeDasharray } = getComputedStyle(path);
    const spacing = strokeDasharray.split(/[ ,]+/).map(parseFloat).reduce((a, b) => a + b, 0);
    return parseFloat(strokeWidth) >= spacing;
  });
  const inTheWay = paths.filter((path) => {
    for (let at = 0; at <= path.getTotalLength(); at += 9.1) {
      const point = path.getPointAtLength(at);
      if (healthy.some((one) => one.isPointInStroke(point))) return true;
    }
    return false;
  });
  return { count: paths.length, touching: touching.length, inTheWay: inTheWay.length };
})()`;
