import { readFileSync } from "node:fs";
import { blankReading } from "@dyetrace/wire/devices/blank-reading";
import { expect, test } from "vitest";
import { checkAgainstSite } from "../against/check-against-site.ts";
import type { SiteGraph } from "../model/site-model.ts";
import { loadSitePlan } from "../plan/load-site-plan.ts";
import { drawSite } from "./draw-site.ts";
import { campus, linkText, simulateObservations } from "./simulate-observations.ts";
import { writeDrawnPlan } from "./write-plan.ts";

const demo = (name: string): SiteGraph =>
  loadSitePlan(readFileSync(new URL(`../../../practice/demo/${name}`, import.meta.url)), name);

const talkers = (graph: SiteGraph): string[] =>
  [...graph.nodes.values()].flatMap(({ name, kind }) => (kind === "host" || kind === "unmanaged" ? [] : [name]));

/** Every third that could talk, beginning at one. */
const thirdOf = (graph: SiteGraph, first: number): Set<string> =>
  new Set(talkers(graph).filter((_, index) => index % 3 === first));

/** Names of the unmanaged switches are ours to choose: whoever is between the same ends is the same. */
function renamed(drawn: SiteGraph, plan: SiteGraph): string[] {
  const near = (graph: SiteGraph, node: string): string =>
    (graph.outgoing.get(node) ?? [])
      .map(({ to }) => to.node)
      .toSorted()
      .join();
  const names = new Map(
    [...drawn.nodes.values()].flatMap(({ name, kind }) => {
      if (kind !== "unmanaged") return [];
      const same = [...plan.nodes.values()].find(
        (one) => one.kind === kind && near(plan, one.name) === near(drawn, name),
      );
      return same === undefined ? [] : [[name, same.name] as const];
    }),
  );
  const isHub = (node: string): boolean => plan.nodes.get(node)?.kind === "unmanaged";
  const end = (node: string, port: string) => {
    const name = names.get(node) ?? node;
    return { node: name, port: isHub(name) ? "?" : port };
  };
  return drawn.links.map(({ a, b }) => linkText({ a: end(a.node, a.port), b: end(b.node, b.port) })).toSorted();
}

const planned = (plan: SiteGraph): string[] => renamed(plan, plan);
/** A host's own port is nowhere announced: `eth0` stands for it. */
const withEth0 = (links: readonly string[]): string[] =>
  links.map((link) => link.replace("tablet:wlan0", "tablet:eth0"));

test.each([
  ["the demo plan", demo("quillfen.yaml")],
  ["the demo plan with VLANs and routers", demo("quillfen-vlans.yaml")],
  ["a campus of 20 switches", campus()],
])("drawSite: given that all switches of %s talk, then the drawn plan is the site's", (_, plan) => {
  const text = writeDrawnPlan(drawSite(simulateObservations(plan), plan.name));
  const drawn = loadSitePlan(text, "drawn.yaml");
  expect(renamed(drawn, plan)).toEqual(withEth0(planned(plan)));
  for (const { name, kind } of plan.nodes.values()) {
    if (kind !== "unmanaged") expect([name, drawn.nodes.get(name)?.kind]).toEqual([name, kind]);
  }
  const facts = (graph: SiteGraph) =>
    graph.links
      .filter(({ a, b }) => [a, b].every(({ node }) => graph.nodes.get(node)?.kind !== "unmanaged"))
      .map(
        (link) =>
          `${linkText(link).replace("wlan0", "eth0")} ${link.speedBps} ${link.vlans ?? ""} ${link.isBlocked ?? false}`,
      )
      .toSorted();
  expect(facts(drawn)).toEqual(facts(plan));
});

test.each(
  [0, 1, 2].flatMap((first) => [["demo", demo("quillfen.yaml"), first] as const, ["campus", campus(), first] as const]),
)(
  "drawSite: given that a third of the switches of the %s is silent (%#), then every link is the site's or is asked about",
  (_, plan, first) => {
    const silent = thirdOf(plan, first);
    const drawing = drawSite(simulateObservations(plan, silent), plan.name);
    loadSitePlan(writeDrawnPlan(drawing), "drawn.yaml");
    const known = new Set(withEth0(plan.links.map(linkText)));
    const invented = new Set(
      drawing.nodes.filter(({ kind, by }) => kind === "unmanaged" || by === "open").map(({ name }) => name),
    );
    for (const link of drawing.links) {
      const ends = [link.a, link.b].map(({ node }) => node);
      // What nobody announced stands at a node that a question is about.
      if (link.by === "open") continue;
      const asked = ends.filter((node) => invented.has(node) && drawing.questions.some((one) => one.includes(node)));
      if (asked.length === 0) expect([linkText(link), known.has(linkText(link))]).toEqual([linkText(link), true]);
    }
  },
);

test("drawSite: given agents alone, then hosts hang where they hear it, and what joins the switches is asked", () => {
  const plan = demo("quillfen.yaml");
  const drawing = drawSite(simulateObservations(plan, new Set(), { reads: false }), plan.name);
  const seen = drawing.links.filter(({ by }) => by === "seen").map(linkText);
  expect(seen).toContain("kiosk-1:eth0 -- pier-east:1");
  for (const link of seen) expect(plan.links.map(linkText)).toContain(link);
  expect(drawing.questions.join("\n")).toMatch(/What joins .*core.*pier-east/);
  expect(loadSitePlan(writeDrawnPlan(drawing), "drawn.yaml").nodes.get("unseen")?.kind).toBe("unmanaged");
});

test("drawSite: given an address that two tables place apart, then it is asked and not guessed", () => {
  const plan = campus(2, 1, 2);
  const { hosts, readings } = simulateObservations(plan);
  const mac = hosts.find(({ agent }) => agent === "host-1-1-1")?.surroundings.mac ?? "";
  const deaf = hosts.map((host) =>
    host.agent === "host-1-1-1" ? { ...host, surroundings: { ...host.surroundings, announcements: null } } : host,
  );
  const moved = readings.map((reading) =>
    reading.node !== "edge-2-1"
      ? reading
      : {
          ...reading,
          forwarding: (reading.forwarding ?? []).map((one) => (one.mac === mac ? { ...one, port: "Gi0/2" } : one)),
        },
  );
  const drawing = drawSite({ hosts: deaf, readings: moved }, plan.name);
  expect(drawing.questions.join("\n")).toMatch(/Where does host-1-1-1 hang\?/);
  expect(drawing.links.filter(({ a, b }) => [a.node, b.node].includes("host-1-1-1")).map(({ by }) => by)).toEqual([
    "open",
  ]);
});

test("drawSite: given announcements that were not repeated in their time, then they are forgotten", () => {
  const plan = demo("quillfen.yaml");
  const { hosts } = simulateObservations(plan, new Set(), { reads: false });
  const late = hosts.map((told) => ({ ...told, toldAgoMs: 600_000 }));
  expect(drawSite({ hosts: late, readings: [] }, plan.name).links.every(({ by }) => by === "open")).toBe(true);
});

test("drawSite: given hosts that send by a router that nobody saw, then it is asked for; by one that was read, then not", () => {
  const plan = demo("quillfen.yaml");
  const { hosts, readings } = simulateObservations(plan);
  const by = hosts.map((told) => ({
    ...told,
    surroundings: { ...told.surroundings, gateways: [{ address: "192.0.2.254", mac: null }] },
  }));
  const ask = (has: string) =>
    drawSite(
      {
        hosts: by,
        readings: readings.map((one) => ({ ...one, addresses: [{ address: has, prefixLength: 24, port: null }] })),
      },
      "x",
    ).questions.filter((question) => question.includes("192.0.2.254"));
  expect(ask("192.0.2.1")).toHaveLength(1);
  expect(ask("192.0.2.254")).toEqual([]);
});

test("drawSite: given a device that could not be read and announces itself, then it is one device, and its hosts hang there", () => {
  const plan = demo("quillfen.yaml");
  const { hosts, readings } = simulateObservations(plan);
  const unread = readings.map((one) =>
    one.node === "hall" ? blankReading({ node: "hall", readAt: one.readAt, by: one.by, address: one.address }) : one,
  );
  const drawn = loadSitePlan(writeDrawnPlan(drawSite({ hosts, readings: unread }, plan.name)), "drawn.yaml");
  expect([...drawn.nodes.keys()].filter((name) => name.startsWith("hall-2"))).toEqual([]);
  const { contradictions } = checkAgainstSite(plan, { hosts, readings: unread });
  expect(contradictions.map(({ sentence }) => sentence).join("\n")).not.toContain("hall-2");
});
