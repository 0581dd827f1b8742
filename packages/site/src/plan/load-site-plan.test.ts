import { describeFault, Fault } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { loadSitePlan } from "./load-site-plan.ts";

function faultOf(text: string): Fault {
  try {
    loadSitePlan(text, "plan.yaml");
  } catch (error) {
    if (error instanceof Fault) return error;
    throw error;
  }
  throw new Error("expected a Fault");
}

/** A valid plan, to be changed in one place. */
const VALID = `site: Hall
nodes:
  core: { kind: switch, querier: true }
  east: { kind: switch }
  west: { kind: unmanaged }
  tower: { kind: host }
  kiosk: { kind: host, agent: kiosk-agent }
  screen: { kind: host, agent: none }
links:
  - core:1 -- east:24
  - { between: [core:2, west:1], speed: 100 Mbit/s }
  - core:9 -- tower:eth0
  - east:1 -- kiosk:eth0
  - west:2 -- screen:eth0
`;
const change = (from: string, to: string): string => {
  if (!VALID.includes(from)) throw new Error(`"${from}" is not in the sample`);
  return VALID.replace(from, to);
};

test("loadSitePlan: given a plan, then nodes, agents, links and both directions of each link are there", () => {
  const graph = loadSitePlan(VALID, "plan.yaml");
  expect(graph.name).toBe("Hall");
  expect([...graph.nodes.values()]).toEqual([
    { name: "core", kind: "switch", isQuerier: true, agent: null },
    { name: "east", kind: "switch", isQuerier: false, agent: null },
    { name: "west", kind: "unmanaged", isQuerier: false, agent: null },
    { name: "tower", kind: "host", isQuerier: false, agent: "tower" },
    { name: "kiosk", kind: "host", isQuerier: false, agent: "kiosk-agent" },
    { name: "screen", kind: "host", isQuerier: false, agent: null },
  ]);
  expect(graph.links.map((link) => link.speedBps)).toEqual([null, 100e6, null, null, null]);
  expect([...graph.segments.keys()].slice(0, 4)).toEqual([
    "core:1>east:24",
    "east:24>core:1",
    "core:2>west:1",
    "west:1>core:2",
  ]);
  expect(graph.outgoing.get("core")?.map((segment) => segment.to.node)).toEqual(["east", "west", "tower"]);
});

test("loadSitePlan: given names that objects have by birth, then they are names like any other", () => {
  const text = change("east:", "constructor:").replaceAll("east:", "constructor:");
  expect(loadSitePlan(text, "plan.yaml").nodes.has("constructor")).toBe(true);
});

/** Each is `VALID` with one change. The mark ▶ stands before the character that the fault must point at. */
const WRONG: readonly (readonly [what: string, markedText: string, fragment: string])[] = [
  ["no site", change("site: Hall\n", "▶"), 'The key "site" is missing here. It must be the site\'s name'],
  ["a site without a name", change("site: Hall", 'site: ▶""'), '"site" must be the site\'s name'],
  [
    "a site called by a number",
    change("Hall", "▶12"),
    '"site" must be the site\'s name, 80 characters at most, not 12',
  ],
  ["nodes misspelt", change("nodes:", "▶node:"), '"node" is not a key that belongs here. Did you mean "nodes"?'],
  [
    "a list of nodes",
    VALID.replace(/nodes:\n(.*\n)*links/, "nodes:\n  ▶- core\nlinks"),
    '"nodes" must be node names with their kinds',
  ],
  [
    "an unknown kind",
    change("kind: unmanaged", "kind: ▶unmanged"),
    'or host, not "unmanged". Did you mean "unmanaged"?',
  ],
  [
    "a kind unlike any",
    change("kind: unmanaged", "kind: ▶box"),
    "Write one of switch, unmanaged, router, access-point, host",
  ],
  [
    "a node without a kind",
    change("{ kind: unmanaged }", "▶{}"),
    'The key "kind" is missing here. It must be switch, unmanaged',
  ],
  [
    "a node of nothing",
    change("west: { kind: unmanaged }", "west:▶"),
    '"west" must be keys such as { kind: switch }, and nothing',
  ],
  ["an unknown key of a node", change("querier: true", "▶queryer: true"), 'Did you mean "querier"?'],
  ["a querier in words", change("querier: true", "querier: ▶yes"), '"querier" must be true or false, not "yes"'],
  ["a node twice", change("  west:", "  ▶core: { kind: switch }\n  west:"), '"core" stands here a second time'],
  [
    "a node with a blank",
    change("  west:", "  ▶west wing: { kind: switch }\n  west:"),
    '"west wing" cannot be the name of a node',
  ],
  [
    "a node that begins with a digit",
    change("  west:", "  ▶2nd: { kind: switch }\n  west:"),
    '"2nd" cannot be the name of a node',
  ],
  [
    "a node of 32 letters",
    change("  west:", `  ▶${"a".repeat(32)}: { kind: switch }\n  west:`),
    "cannot be the name of a node",
  ],
  [
    "a node with our own name",
    change("  west:", "  ▶controller: { kind: host }\n  west:"),
    'The name "controller" is taken by dyetrace itself',
  ],
  ["an agent with our own name", change("agent: kiosk-agent", "agent: ▶controller"), 'The name "controller" is taken'],
  [
    "an agent on a switch",
    change("east: { kind: switch", "east: { kind: switch, ▶agent: x"),
    "Only a host carries an agent",
  ],
  ["an agent with a blank", change("agent: kiosk-agent", "agent: ▶big one"), '"agent" must be an agent\'s name'],
  [
    "two hosts with one agent",
    change("  kiosk: { kind: host, agent: kiosk-agent", "  ▶kiosk: { kind: host, agent: tower"),
    'The hosts "tower" and "kiosk" carry the same agent "tower"',
  ],
  [
    "a host as querier",
    change("tower: { kind: host", "tower: { kind: host, ▶querier: true"),
    "A host cannot be the querier",
  ],
  [
    "two queriers",
    change("east: { kind: switch", "east: { kind: switch, ▶querier: true"),
    '"east" is the second querier: "core" is one already',
  ],
  [
    "no hosts",
    "site: a\n▶nodes:\n  b: { kind: switch }\n  c: { kind: switch }\nlinks: [b:1 -- c:1]\n",
    "The plan has no host",
  ],
  ["no nodes", "site: a\n▶nodes: {}\nlinks: []\n", "The plan has no host"],
  ["no links", VALID.replace(/links:\n(.*\n)*/, "▶links: []\n"), "The plan has no link"],
  [
    "links that are no list",
    VALID.replace(/links:\n(.*\n)*/, "links: ▶core:1 -- east:24\n"),
    '"links" must be a list of links such as',
  ],
  [
    "a link with one dash",
    change("core:1 -- east:24", "▶core:1 - east:24"),
    '"core:1 - east:24" is not a link. Write node:port -- node:port',
  ],
  ["a link with three ends", change("core:1 -- east:24", "▶core:1 -- east:24 -- west:3"), "is not a link"],
  [
    "a link without ports",
    change("core:1 -- east:24", "▶core -- east"),
    '"core" is not a port. Write node:port, for example core:1',
  ],
  ["a port without a name", change("core:1 -- east:24", '▶"core: -- east:24"'), '"" cannot be the name of a port'],
  [
    "a port with a long name",
    change("core:1 -- east:24", "▶core:GigabitEthernet1 -- east:24"),
    '"GigabitEthernet1" cannot be the name of a port',
  ],
  [
    "an unknown node in a link",
    change("core:1 -- east:24", "▶core:1 -- aest:24"),
    'No node is called "aest". Did you mean "east"?',
  ],
  [
    "an unknown node between brackets",
    change("[core:2, west:1]", "[core:2, ▶hub:1]"),
    'No node is called "hub". Add it under "nodes"',
  ],
  ["a link with one end", change("[core:2, west:1]", "▶[core:2]"), '"between" must have exactly 2 entries, not 1'],
  ["a link that is a number", change("core:1 -- east:24", "▶12"), "This entry must be a link such as"],
  ["a speed without a unit", change("100 Mbit/s", "▶100"), '"speed" must be a rate such as 1 Gbit/s, not 100'],
  ["a speed in a unit that is none", change("100 Mbit/s", "▶100 MB"), '"100 MB" is not a rate'],
  ["a speed of nothing", change("100 Mbit/s", "▶0 bit/s"), "A link of speed 0 carries nothing"],
  ["a link to itself", change("core:1 -- east:24", "▶core:1 -- core:3"), 'This link leads from "core" back to itself'],
  [
    "a port used twice",
    change("core:9 -- tower:eth0", "▶core:1 -- tower:eth0"),
    "The port core:1 has a link already: entry 1 of the list",
  ],
  ["a node without a link", change("  west:", "  ▶island: { kind: switch }\n  west:"), 'No link leads to "island"'],
  [
    "two parts",
    change("  - core:1 -- east:24\n", "").replace("  east:", "  ▶east:"),
    'No way leads from "core" to "east" and what hangs on it',
  ],
  [
    "a host with two links",
    change("links:\n", "links:\n").replace(
      "west:2 -- screen:eth0\n",
      "west:2 -- screen:eth0\n  - ▶west:3 -- tower:eth1\n",
    ),
    'The host "tower" has a link already',
  ],
  [
    "two links side by side",
    change("  - core:9", "  - ▶core:3 -- east:23\n  - core:9"),
    "This link closes a loop: core - east - core. Mark the link that spanning tree blocks",
  ],
  [
    "a ring",
    change("  - core:9", "  - ▶east:23 -- west:9\n  - core:9"),
    "This link closes a loop: east - core - west - east. Mark the link",
  ],
  [
    "a ring through a router",
    change("west: { kind: unmanaged", "west: { kind: router").replace(
      "  - core:9",
      "  - ▶east:23 -- west:9\n  - core:9",
    ),
    'The router "west" has two interfaces in one subnet',
  ],
];

test.each(WRONG)("loadSitePlan: given %s, then the fault names the place", (_what, markedText, fragment) => {
  const before = markedText.slice(0, markedText.indexOf("▶")).split("\n");
  const fault = faultOf(markedText.replace("▶", ""));
  expect(fault.code).toBe("SITE_PLAN_INVALID");
  expect(describeFault(fault)).toContain(`plan.yaml:${before.length}:${(before.at(-1) ?? "").length + 1}: `);
  expect(describeFault(fault)).toContain(fragment);
});

test("loadSitePlan: given three parts, then each part after the first is named once", () => {
  const fault = faultOf(`site: a
nodes:
  a: { kind: host }
  b: { kind: host }
  c: { kind: host }
  d: { kind: switch }
  e: { kind: switch }
  f: { kind: switch }
links: [a:1 -- d:1, b:1 -- e:1, c:1 -- f:1]
`);
  expect([fault, ...fault.others].map((one) => one.place?.line)).toEqual([4, 5]);
});

test("loadSitePlan: given a thousand hosts, then all links are there both ways", () => {
  const hosts = Array.from({ length: 1000 }, (_, index) => `h${index}`);
  const text = `site: big\nnodes:\n  core: { kind: switch }\n${hosts.map((host) => `  ${host}: { kind: host }\n`).join("")}links:\n${hosts.map((host, index) => `  - core:${index} -- ${host}:eth0\n`).join("")}`;
  expect(loadSitePlan(text, "plan.yaml").segments.size).toBe(2000);
});

test("loadSitePlan: given how long a switch keeps memberships, and the address of one that queries, then both are known; of a host, or in another form, they are refused", () => {
  const plan = (core: string, kiosk: string) =>
    loadSitePlan(
      `site: Quillfen
nodes: { core: { kind: switch, querier: true${core} }, kiosk: { kind: host${kiosk} } }
links: [ "core:1 -- kiosk:eth0" ]`,
      "p.yaml",
    );
  const { membershipTimeMs, addresses } =
    plan(", membership-time: 260 s, addresses: [192.0.2.1]", "").nodes.get("core") ?? {};
  expect([membershipTimeMs, addresses]).toEqual([260_000, ["192.0.2.1"]]);
  expect(() => plan("", ", membership-time: 260 s")).toThrow("keeps no memberships");
  expect(() => plan(", membership-time: soon", "")).toThrow("soon");
  expect(() => plan(", membership-time: 0s", "")).toThrow("lasts for some time");
});
