import { drawSite } from "../draw/draw-site.ts";
import type { Drawing } from "../draw/drawing.ts";
import { type DrawnDevice, isSamePort } from "../draw/drawn-device.ts";
import { KnownDevices } from "../draw/know-devices.ts";
import { type Observations, stillTrue } from "../draw/observations.ts";
import { PlanNames } from "../draw/plan-names.ts";
import { type SiteGraph, segmentId } from "../model/site-model.ts";
import { checkLinks } from "./check-links.ts";
import { nearestTalkers } from "./nearest-talkers.ts";
import type { SiteContradiction } from "./site-contradiction.ts";

export interface SiteCheck {
  readonly contradictions: readonly SiteContradiction[];
  /** How many hosts and links of the plan were held against something that was seen, and how many there are. */
  readonly hosts: { readonly checked: number; readonly of: number };
  readonly links: { readonly checked: number; readonly of: number };
}

/** Holds a plan against what agents hear and switches say. What nobody saw is no contradiction, and counts as not checked. */
export function checkAgainstSite(graph: SiteGraph, observed: Observations): SiteCheck {
  const observations = stillTrue(observed);
  const known = new KnownDevices(observations, new PlanNames());
  // Ports are called as announcements call them, so all of those are read first.
  for (const { neighbours } of observations.readings) {
    for (const said of neighbours ?? []) known.ofChassis(said.chassis)?.portOf(said);
  }
  const drawing = drawSite(observations, graph.name);
  const byName = new Map(known.all.map((device) => [device.name, device]));
  const hosts = observations.hosts.flatMap((told) => {
    const node = [...graph.nodes.values()].find(({ agent }) => agent === told.agent);
    if (node === undefined) return [];
    const heard = (told.surroundings.announcements ?? []).flatMap(({ announcement }) => {
      const device = known.ofChassis(announcement.chassis);
      return device === undefined ? [] : [{ device, names: device.namesOf(device.portOf(announcement)) }];
    });
    return [
      checkHost(graph, byName, drawing, { node: node.name, agent: told.agent, mac: told.surroundings.mac, heard }),
    ];
  });
  const links = checkLinks(graph, known);
  const unplanned = known.all.flatMap(({ name }): SiteContradiction[] =>
    graph.nodes.has(name)
      ? []
      : [
          {
            kind: "unplanned",
            places: [],
            sentence: `A device that calls itself ${name} is on the site, and the plan has no node of that name`,
            effect: "Findings cannot name it, and what it does is put down to its neighbours",
          },
        ],
  );
  const ofPlan = [...graph.nodes.values()].filter(({ agent }) => agent !== null).length;
  return {
    contradictions: [
      ...hosts.flatMap(({ contradiction }) => contradiction ?? []),
      ...links.contradictions,
      ...unplanned,
    ],
    hosts: { checked: hosts.filter(({ isChecked }) => isChecked).length, of: ofPlan },
    links: { checked: links.checked, of: graph.links.length },
  };
}

interface HostSeen {
  readonly node: string;
  readonly agent: string;
  readonly mac: string | null;
  readonly heard: readonly { readonly device: DrawnDevice; readonly names: readonly string[] }[];
}

function checkHost(
  graph: SiteGraph,
  devices: ReadonlyMap<string, DrawnDevice>,
  drawing: Drawing,
  host: HostSeen,
): { readonly isChecked: boolean; readonly contradiction: SiteContradiction | null } {
  const expected = nearestTalkers(graph, host.node, (name) => devices.has(name));
  const planned = expected.map(({ node, port }) => `${node}:${port}`).join(" or ");
  const against: string[] = [];
  let isChecked = false;
  for (const { device, names } of host.heard) {
    const at = expected.find(({ node }) => node === device.name);
    const isSame = at === undefined ? (expected.length === 0 ? null : false) : isSamePort(at.port, names);
    if (isSame !== null) isChecked = true;
    if (isSame === false) against.push(`it hears ${device.name} announce port ${names[0]}`);
  }
  for (const { node, port } of expected) {
    const device = devices.get(node);
    const learned = host.mac === null ? undefined : device?.learned.get(host.mac)?.port;
    if (device === undefined || learned === undefined) continue;
    const isSame = isSamePort(port, device.namesOf(learned));
    if (isSame !== null) isChecked = true;
    if (isSame === false) against.push(`${node} learned its address on ${device.label(learned)}`);
  }
  if (against.length === 0) return { isChecked, contradiction: null };
  const seems = placeIn(drawing, host.agent);
  const link = graph.outgoing.get(host.node)?.[0];
  return {
    isChecked,
    contradiction: {
      kind: "elsewhere",
      places: [host.node, ...(link === undefined ? [] : [link.id, segmentId(link.to, link.from)])],
      sentence: `${host.node} hangs elsewhere: the plan has it behind ${planned || "nothing that was seen"}, but ${against.join(", and ")}${seems === null ? "" : `; it seems to hang at ${seems}`}`,
      effect: `What ${host.node} receives or misses says nothing about the links that the plan gives it`,
    },
  };
}

/** Where the drawing has an agent's host; null where that is open. */
function placeIn(drawing: Drawing, agent: string): string | null {
  const node = drawing.nodes.find((one) => one.agent === agent)?.name;
  const link = drawing.links.find(({ a, b, by }) => by !== "open" && (a.node === node || b.node === node));
  if (link === undefined || node === undefined) return null;
  const { node: at, port } = link.a.node === node ? link.b : link.a;
  return `${at}:${port}`;
}
