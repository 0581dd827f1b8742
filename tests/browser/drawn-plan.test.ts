import { ControllerClient } from "@dyetrace/controller";
import { loadSitePlan } from "@dyetrace/site";
import type { Page } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { first, openConsole, SETTINGS, troublesInEverySetting } from "./support/console-browser.ts";
import { type FaultyDemo, PLAN, raiseFaultyDemo, start } from "./support/faulty-demo.ts";
import { tabTo } from "./support/use-page.ts";

/** What hangs at a node of a plan, by the reader of plans; in the order of their names. */
const neighbours = (text: string, node: string): readonly string[] =>
  loadSitePlan(text, PLAN.file)
    .links.flatMap(({ a, b }) => (a.node === node ? [b.node] : b.node === node ? [a.node] : []))
    .toSorted();

describe("the plan and the switches on the console: given the practice site with a fault, whose switches talk but for an access point", () => {
  let demo: FaultyDemo;
  let client: ControllerClient;
  beforeAll(async () => {
    demo = await raiseFaultyDemo({ switchesTalk: true, silent: "hall-ap" });
    client = new ControllerClient(demo.practice.controller.url);
  });
  afterAll(() => demo?.[Symbol.asyncDispose]());

  const url = (): string => demo.practice.controller.url;
  const link = (page: Page, name: string) => page.getByRole("link", { name, exact: true });
  const button = (page: Page, name: string) => page.getByRole("button", { name, exact: true });

  test("given a mistake is typed into the plan, then it shows at its line, the last good map stays, and mending it ends both", async () => {
    await using console = await openConsole(demo.browser, url(), first(SETTINGS), { hash: "#/plan" });
    const { page } = console;
    const area = page.getByLabel("Site plan in YAML");
    await area.fill(PLAN.text.replace("core:10 -- office:eth0", "core:10 -- ofice:eth0"));
    const line = PLAN.text.split("\n").findIndex((text) => text.includes("core:10 -- office")) + 1;
    await page.getByRole("button", { name: `Line ${line}` }).waitFor();
    expect(await page.locator(".mistakes").innerText()).toContain('Did you mean "office"');
    expect(await page.locator(".editor-gutter .is-wrong").innerText()).toContain(String(line));
    expect(await page.getByRole("button", { name: "Save", exact: true }).isDisabled()).toBe(true);
    expect(await page.locator("[data-node='office']").count()).toBe(1);
    // One more host: at once on the map, and it can be saved.
    const mended = PLAN.text
      .replace("  tablet: { kind: host }", "  tablet: { kind: host }\n  porter: { kind: host, agent: none }")
      .replace("  - hall-ap:radio", "  - core:11 -- porter:eth0\n  - hall-ap:radio");
    await area.fill(mended);
    await page.waitForSelector("[data-node='porter']");
    expect(await page.locator(".mistakes").count()).toBe(0);
    expect(await page.locator(".coverage").innerText()).toContain("One more agent at");
    await page.getByRole("button", { name: "Save", exact: true }).click();
    await page.getByRole("button", { name: "Save the plan" }).click();
    await page.getByText("Kept until this practice site is taken down.").waitFor();
    await area.fill(PLAN.text);
    await page.getByText("No mistakes: 16 nodes").waitFor();
    await page.getByRole("button", { name: "Save", exact: true }).click();
    await page.getByRole("button", { name: "Save the plan" }).click();
    await page.getByText("Kept until this practice site is taken down.").waitFor();
    expect(console.troubles).toEqual([]);
  });

  test("given the keyboard alone, then a node of the plan is renamed and hung elsewhere, undone, done again, kept over a reload, and not saved", async () => {
    await using console = await openConsole(demo.browser, url(), first(SETTINGS), { hash: "#/plan" });
    const { page } = console;
    const text = () => page.getByLabel("Site plan in YAML").inputValue();
    const hangsAt = async (node: string): Promise<readonly string[]> => neighbours(await text(), node);
    const press = async (name: string, back = false): Promise<void> => {
      await tabTo(page, button(page, name), back);
      await page.keyboard.press("Enter");
    };
    await tabTo(page, page.getByLabel("Node to correct"));
    await page.keyboard.type("office");
    await page.getByRole("heading", { name: "Correct office" }).waitFor();
    expect(await troublesInEverySetting(page)).toEqual([]);
    await tabTo(page, page.getByLabel("Name", { exact: true }));
    await page.keyboard.press("Control+A");
    await page.keyboard.type("bureau");
    await page.keyboard.press("Enter");
    await page.getByRole("heading", { name: "Correct bureau" }).waitFor();
    expect(await hangsAt("bureau")).toEqual(["core"]);
    await tabTo(page, page.getByLabel("Another node"));
    await page.keyboard.type("pier-west");
    await press("Move it there");
    await expect.poll(() => hangsAt("bureau")).toEqual(["pier-west"]);
    await press("Undo", true);
    await expect.poll(() => hangsAt("bureau")).toEqual(["core"]);
    await press("Redo");
    await expect.poll(() => hangsAt("bureau")).toEqual(["pier-west"]);
    await page.reload();
    await page.locator("[data-node='bureau']").waitFor();
    expect(await hangsAt("bureau")).toEqual(["pier-west"]);
    await page.getByText("not saved").waitFor();
    await press("Save");
    await page.getByText("2 lines added, 2 removed.").waitFor();
    expect(await troublesInEverySetting(page)).toEqual([]);
    await press("Not yet");
    await button(page, "Undo all").click();
    await page.locator("[data-node='office']").waitFor();
    expect(await text()).toBe(PLAN.text);
    expect(console.troubles).toEqual([]);
  });

  test("given the site as it is, then its plan is drawn, two mistakes in it are corrected by pointing, it is saved, and a run with it finds the fault", async () => {
    await using console = await openConsole(demo.browser, url(), first(SETTINGS), { hash: "#/plan" });
    const { page } = console;
    const text = () => page.getByLabel("Site plan in YAML").inputValue();
    // A switch that a busy machine keeps from answering in time is read again: its line says that it was not.
    const drawnFrom = async (): Promise<string> => {
      await button(page, "Draw from the site").click();
      await page.getByText(/^Drawn: /).waitFor({ timeout: 60_000 });
      return page.locator(".draw-from-site").innerText();
    };
    // The silent access point is no place of its own, or, where its own address was heard, a switch that nobody named.
    await expect.poll(drawnFrom, { timeout: 120_000 }).toMatch(/ 0 open; (1 question|2 questions)\./);
    await page
      .getByRole("button", { name: /^Show it/ })
      .first()
      .click();
    await page.locator(".flag").getByText("question 1").waitFor();
    // The map follows the text once the controller has checked it.
    await expect.poll(() => page.locator(".rests.seen").count()).toBeGreaterThan(5);
    expect(await page.locator(".rests.concluded").count()).toBeGreaterThan(0);
    expect(await troublesInEverySetting(page)).toEqual([]);
    // First: what stands between the tills announces nothing, and is called otherwise.
    const [between = ""] = neighbours(await text(), "till-1");
    expect(between).toMatch(/^unmanaged-\d$/);
    await page.locator(`[data-node='${between}']`).click();
    await page.getByLabel("Name", { exact: true }).fill("hall-hub");
    await button(page, "Rename").click();
    await page.getByRole("heading", { name: "Correct hall-hub" }).waitFor();
    const answered = page.getByRole("button", { name: /^It is answered/ });
    for (let left = await answered.count(); left > 0; left--) {
      await answered.first().click();
      await expect.poll(() => answered.count()).toBe(left - 1);
    }
    // Second: the tablet hangs at an access point that keeps silent.
    await page.locator("[data-node='hall']").click();
    await page.getByLabel("New node that hangs here").fill("hall-ap");
    await page.getByLabel("Kind of the new node").selectOption("access-point");
    await button(page, "Add").click();
    await page.locator("[data-node='hall-ap']").waitFor();
    const [drawnAt = ""] = neighbours(await text(), "tablet");
    expect(drawnAt).toMatch(/^(hall|unmanaged-\d)$/);
    await page.locator("[data-node='tablet']").hover();
    await page.mouse.down();
    await page.locator("[data-node='hall-ap']").hover();
    await page.getByText("tablet to hall-ap").waitFor();
    await page.mouse.up();
    await expect.poll(async () => neighbours(await text(), "tablet")).toEqual(["hall-ap"]);
    if (drawnAt !== "hall") {
      await page.locator(`[data-node='${drawnAt}']`).click();
      await button(page, `Remove ${drawnAt}`).click();
      await page.getByRole("button", { name: `Really remove ${drawnAt}` }).click();
      await expect.poll(async () => loadSitePlan(await text(), PLAN.file).nodes.has(drawnAt)).toBe(false);
    }
    // What is written down is the site that was built.
    for (const { name, kind } of loadSitePlan(PLAN.text, PLAN.file).nodes.values()) {
      const drawn = loadSitePlan(await text(), PLAN.file).nodes.get(name);
      expect([name, drawn?.kind, neighbours(await text(), name)]).toEqual([name, kind, neighbours(PLAN.text, name)]);
    }
    await button(page, "Save").click();
    await page.locator(".plan-diff .is-added").filter({ hasText: "hall-hub" }).first().waitFor();
    await button(page, "Save the plan").click();
    await link(page, "Run with this plan").click();
    await start(page, "4s");
    await page.locator(".flag").waitFor({ timeout: 60_000 });
    await page.getByRole("heading", { name: /board stops between/ }).waitFor();
    // What the switches counted stands with the finding.
    await page.getByRole("link", { name: "evidence, and what to look at" }).first().click();
    await page.locator(".finding-card").first().waitFor();
    await console.settled();
    expect(await troublesInEverySetting(page)).toEqual([]);
    const log = JSON.stringify(await client.get("/api/audit?most=50"));
    for (const deed of ["drew the site by what agents hear and devices say", "saved the site plan"])
      expect(log).toContain(deed);
    // Whoever saves what was made from another plan than is there now is refused.
    const late = { ...PLAN, replaces: "0123456789abcdef" };
    const put = (body: object) =>
      fetch(`${url()}/api/console/plan`, {
        method: "PUT",
        headers: { "content-type": "application/json" },
        body: JSON.stringify(body),
      });
    expect([(await put(late)).status, (await put(PLAN)).status]).toEqual([409, 200]);
    expect(console.troubles).toEqual([]);
  });

  test("given the page of switches, then one is read and its tables shown, one is added without its secret coming back, and a table is pasted", async () => {
    await using console = await openConsole(demo.browser, url(), first(SETTINGS), { hash: "#/switches" });
    const { page } = console;
    const row = page.locator(".device").filter({ has: page.getByRole("heading", { name: "pier-west" }) });
    const read = async (): Promise<string> => {
      await button(page, "Read pier-west now").click();
      await row.getByText("Being read …").waitFor({ state: "detached", timeout: 60_000 });
      return row.innerText();
    };
    await expect.poll(read, { timeout: 120_000 }).toMatch(/Read at [\d:]+: \d+ ports, .*\d+ neighbours?, /);
    await row.getByText("Tables of pier-west").click();
    await row.getByRole("columnheader", { name: "Multicast in" }).waitFor();
    await row.getByRole("region", { name: "Neighbours of pier-west" }).getByText("core").first().waitFor();
    expect(await troublesInEverySetting(page)).toEqual([]);
    await page.getByLabel("How it is read").selectOption("2c");
    await page.getByText("Caution: SNMPv2c sends its community in clear").waitFor();
    await page.getByLabel("Name in the plan").fill("hall-ap");
    await page.getByLabel("Address", { exact: true }).fill("192.0.2.7");
    await page.getByLabel("Community", { exact: true }).fill("quillfen-secret");
    await button(page, "Add the device").click();
    await page.getByText("The controller may read hall-ap now.").waitFor();
    expect(await page.getByLabel("Community", { exact: true }).inputValue()).toBe("");
    const told = JSON.stringify([await client.get("/api/devices"), await client.get("/api/audit?most=50")]);
    expect(told).toContain("hall-ap");
    expect(told).not.toContain("quillfen-secret");
    await button(page, "Remove hall-ap").click();
    await button(page, "Really remove hall-ap, and forget how it is read?").click();
    await button(page, "Remove hall-ap").waitFor({ state: "detached" });
    await page.getByLabel("Switch in the plan").fill("hall");
    await page.getByLabel("Table as CSV").fill("port,vlan,group\n1,,192.0.2.1");
    await button(page, "Give it to the controller").click();
    await page.getByText('"192.0.2.1" is no group').waitFor();
    await page.getByLabel("Table as CSV").fill("port,vlan,group\n1,,239.195.10.4");
    await button(page, "Give it to the controller").click();
    await page.getByText("The controller has 1 group of hall").waitFor();
    expect(await troublesInEverySetting(page)).toEqual([]);
    // The browser itself notes that the mistake was refused.
    expect(console.troubles.filter((trouble) => !trouble.includes("400"))).toEqual([]);
  });
});
