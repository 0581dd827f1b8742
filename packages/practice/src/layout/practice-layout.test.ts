import { loadSitePlan, type SiteGraph } from "@dyetrace/site";
import { expect, test } from "vitest";
import { QUERIER_ADDRESS } from "./fixed-addresses.ts";
import { layPracticeSite, type PracticeLayout } from "./practice-layout.ts";

const plan = (nodes: string, links: string): SiteGraph =>
  loadSitePlan(`site: Test\nnodes: { ${nodes} }\nlinks: [${links}]`, "plan.yaml");

const querierOf = ({ queriers }: PracticeLayout): string | null => queriers[0]?.node ?? null;

const TWO_SWITCHES = plan(
  "core: { kind: switch }, edge: { kind: switch }, tower: { kind: host }, kiosk: { kind: host }",
  "core:1 -- edge:1/0/24, core:x9 -- tower:eth0, edge:2 -- kiosk:eth0",
);

test("layPracticeSite: given ports, then interfaces bear their names, p before a digit, and a hyphen for a slash", () => {
  const { nodes } = layPracticeSite(TWO_SWITCHES, null);
  const names = [...nodes.values()].flatMap((node) => [...node.ports.values()].map((port) => port.interfaceName));
  expect(names).toEqual(["p1", "x9", "p1-0-24", "p2", "eth0", "eth0"]);
});

test("layPracticeSite: given any plan, then no two ports share an address or index, and the querier's is the lowest", () => {
  const { nodes } = layPracticeSite(TWO_SWITCHES, null);
  const ports = [...nodes.values()].flatMap((node) => [...node.ports.values()]);
  expect(new Set(ports.map((port) => port.mac)).size).toBe(ports.length);
  expect(new Set(ports.map((port) => port.interfaceIndex)).size).toBe(ports.length);
  const hosts = ports.flatMap((port) => port.address ?? []);
  expect(hosts).toEqual([
    { ipv4: "10.77.2.1", ipv6: "fd77::2:1", management: "10.254.2.1" },
    { ipv4: "10.77.2.2", ipv6: "fd77::2:2", management: "10.254.2.2" },
  ]);
  // RFC 3376, 6.6.2: the router with the lowest address wins.
  const number = (ipv4: string): number => ipv4.split(".").reduce((sum, part) => sum * 256 + Number(part), 0);
  for (const { ipv4 } of hosts) expect(number(ipv4)).toBeGreaterThan(number(QUERIER_ADDRESS.ipv4));
});

test("layPracticeSite: given 600 hosts, then addresses stay inside the networks and differ", () => {
  const names = Array.from({ length: 600 }, (_, i) => `h${i}`);
  const graph = plan(
    ["core: { kind: switch }", ...names.map((name) => `${name}: { kind: host }`)].join(", "),
    names.map((name, i) => `core:${i} -- ${name}:eth0`).join(", "),
  );
  const addresses = [...layPracticeSite(graph, null).nodes.values()].flatMap((node) =>
    node.kind === "host" ? [...node.ports.values()].map((port) => port.address?.ipv4 ?? "") : [],
  );
  expect(new Set(addresses).size).toBe(600);
  expect(addresses.at(-1)).toBe("10.77.4.100");
});

test.each([
  ["two ports of one interface name", "core:1 -- edge:1, core:p1 -- tower:eth0, edge:2 -- kiosk:eth0", "p1"],
  ["a port called like the bridge", "core:br0 -- edge:1, core:2 -- tower:eth0, edge:2 -- kiosk:eth0", "br0"],
  [
    "a host's port called like the management interface",
    "core:1 -- edge:1, core:2 -- tower:mgmt0, edge:2 -- kiosk:eth0",
    "mgmt0",
  ],
])("layPracticeSite: given %s, then a Fault names it", (_, links, name) => {
  const graph = plan(
    "core: { kind: switch }, edge: { kind: switch }, tower: { kind: host }, kiosk: { kind: host }",
    links,
  );
  expect(() => layPracticeSite(graph, null)).toThrow(
    expect.objectContaining({ code: "SITE_PLAN_INVALID", message: expect.stringContaining(name) }),
  );
});

test("layPracticeSite: given no declared querier, then the snooping switch nearest to the first source queries", () => {
  const graph = plan(
    "core: { kind: switch }, hub: { kind: unmanaged }, edge: { kind: switch }, tower: { kind: host }, kiosk: { kind: host }",
    "core:1 -- edge:1, edge:2 -- hub:1, hub:2 -- kiosk:eth0, core:2 -- tower:eth0",
  );
  expect(querierOf(layPracticeSite(graph, "tower"))).toBe("core");
  expect(querierOf(layPracticeSite(graph, "kiosk"))).toBe("edge"); // an unmanaged switch cannot query
  expect(querierOf(layPracticeSite(graph, null))).toBe("core");
  expect(() => layPracticeSite(graph, "towre")).toThrow(expect.objectContaining({ code: "NODE_UNKNOWN" }));
});

test("layPracticeSite: given a declared querier, then it queries wherever the source is; given one that cannot, a Fault", () => {
  const nodes = (kind: string): string =>
    `core: { kind: switch }, edge: { kind: ${kind}, querier: true }, tower: { kind: host }, kiosk: { kind: host }`;
  const links = "core:1 -- edge:1, core:2 -- tower:eth0, edge:2 -- kiosk:eth0";
  expect(querierOf(layPracticeSite(plan(nodes("access-point"), links), "tower"))).toBe("edge");
  expect(() => layPracticeSite(plan(nodes("unmanaged"), links), "tower")).toThrow(
    expect.objectContaining({ code: "SITE_PLAN_INVALID", message: expect.stringContaining('"edge"') }),
  );
});

test("layPracticeSite: given no switch that snoops, then nobody queries", () => {
  const graph = plan(
    "hub: { kind: unmanaged }, tower: { kind: host }, kiosk: { kind: host }",
    "hub:1 -- tower:eth0, hub:2 -- kiosk:eth0",
  );
  expect(querierOf(layPracticeSite(graph, "tower"))).toBeNull();
});
