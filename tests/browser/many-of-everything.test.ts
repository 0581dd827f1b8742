import { loadSitePlan } from "@dyetrace/site";
import { parseAs } from "@dyetrace/wire";
import { AuditEntrySchema } from "@dyetrace/wire/console/console-session";
import { DeviceEntrySchema } from "@dyetrace/wire/devices/device-access";
import { ReadingSummarySchema } from "@dyetrace/wire/devices/reading-summary";
import {
  type InventoryGroup,
  InventorySchema,
  InventorySummarySchema,
} from "@dyetrace/wire/inventory/inventory-schema";
import type { Browser } from "playwright-core";
import { afterAll, beforeAll, describe, expect, test } from "vitest";
import { campusPlan, SIXTY_SWITCHES } from "./support/campus.ts";
import { first, openBrowser, openConsole, SETTINGS, troublesInEverySetting } from "./support/console-browser.ts";
import { drawingOf, type ToldConsole, tellConsole } from "./support/told-console.ts";

const AT = "2026-11-30T06:00:00.000Z";
const PLAN = campusPlan(SIXTY_SWITCHES, 3);
const NODES = [...loadSitePlan(PLAN, "campus.yaml").nodes.values()];
const SWITCHES = NODES.filter(({ kind }) => kind === "switch").map(({ name }) => name);
const AGENTS = NODES.flatMap(({ agent }) => agent ?? []);
/** What the controller could read of this one has errors; of another nothing could be read. */
const [, FAULTY = "", UNREAD = ""] = SWITCHES;
const LAST = SWITCHES.at(-1) ?? "";

const devices = SWITCHES.map((node, index) => ({
  node,
  address: `192.0.2.${index + 1}`,
  port: 161,
  by: "snmp-v3",
  user: "reader",
  addedAt: AT,
  addedBy: "this machine",
}));
const readings = SWITCHES.map((node) => ({
  node,
  readAt: AT,
  by: "snmp-v3",
  ports: node === UNREAD ? null : 24,
  down: node === UNREAD ? null : 3,
  faulty: node === UNREAD ? null : node === FAULTY ? 2 : 0,
  half: node === UNREAD ? null : 0,
  neighbours: node === UNREAD ? null : 4,
  groups: node === UNREAD ? null : 12,
  unread: node === UNREAD ? "The device did not answer within 5 s" : null,
}));

/** Sixty groups, of which the last has something to be said about. */
const groups = Array.from(
  { length: 60 },
  (_, index): InventoryGroup => ({
    group: `239.196.4.${index + 1}`,
    port: 5004,
    protocol: 17,
    kind: "data",
    senders: [
      {
        address: "192.0.2.200",
        agent: "head-end",
        hardware: "02:00:00:00:00:01",
        rateBps: 8e6,
        packetsPerSecond: 760,
        leastBytes: 1316,
        mostBytes: 1316,
        ttl: 8,
        dscp: 34,
        format: "mpeg-ts",
        carries: "MPEG-TS",
        seenBy: AGENTS.slice(0, 40),
      },
    ],
    format: "mpeg-ts",
    members: AGENTS.slice(0, 40),
    askedBy: [],
    seenBy: AGENTS.slice(0, 40),
    unaskedAt: index === 59 ? AGENTS.slice(40) : [],
    linkAddress: "01:00:5e:44:04:07",
    sharesLinkAddressWith: [],
    use: "administratively scoped (RFC 2365)",
    remarks: index === 59 ? ["It comes to 80 agents whose hosts are no members"] : [],
  }),
);
const inventory = {
  formatVersion: 1,
  id: "0011223344556677",
  takenAt: AT,
  seenFor: "30 s",
  seenForMs: 30_000,
  agents: AGENTS.map((agent) => ({ agent, lookedMs: 30_000, why: null })),
  groups,
  queriers: [],
  freeGroups: [],
  summarised: [],
  registry: "a selection",
};

describe("console: given sixty switches that are read, and sixty groups on the wire", () => {
  let told: ToldConsole;
  let browser: Browser;
  beforeAll(async () => {
    browser = await openBrowser();
    const drawing = drawingOf(PLAN);
    told = await tellConsole({ plan: { text: { file: "campus.yaml", text: PLAN }, drawing, edition: "1" } });
    const answer = (path: string, all: readonly object[], schema: Parameters<typeof parseAs>[0]): void => {
      for (const one of all) parseAs(schema, one, "MESSAGE_INVALID", path);
      told.answers.set(`GET ${path}`, all);
    };
    answer("/api/devices", devices, DeviceEntrySchema);
    answer("/api/devices/readings", readings, ReadingSummarySchema);
    const { id, takenAt, seenForMs } = inventory;
    answer(
      "/api/inventories",
      [{ id, takenAt, seenForMs, agents: AGENTS.length, groups: groups.length, state: "done" }],
      InventorySummarySchema,
    );
    parseAs(InventorySchema, inventory, "MESSAGE_INVALID", "The inventory");
    told.answers.set(`GET /api/inventories/${id}`, inventory);
    const deeds = Array.from({ length: 300 }, (_, index) => ({
      at: AT,
      who: "this machine",
      from: "127.0.0.1",
      what: `started reach.yaml on campus.yaml as run ${String(index).padStart(16, "0")}`,
    }));
    answer("/api/audit", deeds, AuditEntrySchema);
  });
  afterAll(async () => {
    await told?.[Symbol.asyncDispose]();
  });

  test("then pages of switches, inventory, log and plan say the worst first and how many more there are, and hold in every setting", async () => {
    await using console = await openConsole(browser, told.url, first(SETTINGS), { hash: "#/switches" });
    const { page } = console;
    const heads = (within: string) => page.locator(`${within} h3`).allTextContents();
    await page.locator(".device").first().waitFor();
    expect((await heads(".device")).slice(0, 2).toSorted()).toEqual([FAULTY, UNREAD].toSorted());
    expect(await troublesInEverySetting(page)).toEqual([]);
    await page.getByLabel("Search by name or address").fill(LAST);
    await expect.poll(() => heads(".device")).toEqual([LAST]);

    await page.goto(`${told.url}/#/inventory`);
    await page.locator(".on-wire").first().waitFor();
    expect((await heads(".on-wire"))[0]).toContain("239.196.4.60");
    expect(await page.locator(".on-wire").count()).toBe(24);
    await page.getByText("40: head-end, yard-7-board-1").first().waitFor();
    expect(await troublesInEverySetting(page)).toEqual([]);
    await page.getByRole("button", { name: "and 36 more" }).click();
    await expect.poll(() => page.locator(".on-wire").count()).toBe(60);

    await page.goto(`${told.url}/#/audit`);
    await page.locator(".audit tbody tr").first().waitFor();
    expect(await page.locator(".audit tbody tr").count()).toBe(100);
    expect(await troublesInEverySetting(page)).toEqual([]);
    await page.getByRole("button", { name: "and 200 more" }).click();
    await expect.poll(() => page.locator(".audit tbody tr").count()).toBe(300);

    await page.goto(`${told.url}/#/plan`);
    await page.locator("[data-node='core']").waitFor();
    expect(await page.locator(".map-frame [data-node]").count()).toBeLessThan(80);
    expect(await troublesInEverySetting(page)).toEqual([]);
    expect(console.troubles).toEqual([]);
  });
});
