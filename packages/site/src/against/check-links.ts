import { formatRateBps } from "@dyetrace/wire";
import { type DrawnDevice, isSamePort } from "../draw/drawn-device.ts";
import type { KnownDevices } from "../draw/know-devices.ts";
import { type PortRef, type SiteGraph, type SiteLink, segmentId } from "../model/site-model.ts";
import { nearestTalkers } from "./nearest-talkers.ts";
import type { SiteContradiction } from "./site-contradiction.ts";

/** Links of the plan against what the devices at their ends say. */
export function checkLinks(
  graph: SiteGraph,
  known: KnownDevices,
): { readonly contradictions: readonly SiteContradiction[]; readonly checked: number } {
  const devices = new Map(known.all.map((device) => [device.name, device]));
  const pairs = announcedPairs(known);
  const answers = graph.links.map((link) => checkLink(graph, link, devices, pairs));
  return {
    contradictions: [
      ...answers.flatMap(({ contradictions }) => contradictions),
      ...unplannedPairs(graph, devices, pairs),
    ],
    checked: answers.filter(({ isChecked }) => isChecked).length,
  };
}

/** What one device hears of another. */
interface AnnouncedPair {
  readonly from: DrawnDevice;
  readonly port: string;
  readonly to: DrawnDevice;
  readonly toPort: string;
}

const announcedPairs = (known: KnownDevices): readonly AnnouncedPair[] =>
  known.all.flatMap((from) =>
    (from.reading?.neighbours ?? []).flatMap((said) => {
      const to = known.ofChassis(said.chassis);
      if (to === undefined || to === from) return [];
      return [{ from, port: from.portOfInterface(said.port), to, toPort: to.portOf(said) }];
    }),
  );

function checkLink(
  graph: SiteGraph,
  link: SiteLink,
  devices: ReadonlyMap<string, DrawnDevice>,
  pairs: readonly AnnouncedPair[],
): { readonly contradictions: readonly SiteContradiction[]; readonly isChecked: boolean } {
  const places = [segmentId(link.a, link.b), segmentId(link.b, link.a)];
  const name = places[0] ?? "";
  const [a, b] = [devices.get(link.a.node), devices.get(link.b.node)];
  const found: SiteContradiction[] = [];
  let isChecked = false;
  const add = (kind: SiteContradiction["kind"], sentence: string, effect: string): void =>
    void found.push({ kind, places, sentence, effect });
  if (a !== undefined && b !== undefined) {
    const heard = pairs.filter(({ from, to }) => (from === a && to === b) || (from === b && to === a));
    const fits = heard.map((pair) => fitsLink(pair, link, a));
    if (fits.some((one) => one !== null)) isChecked = true;
    // Nothing crosses a spare: that it is not there changes no finding.
    const isSilent =
      link.isBlocked !== true &&
      heard.length === 0 &&
      [a, b].some((one) => hearsOthers(one, pairs)) &&
      announces(a, pairs) &&
      announces(b, pairs);
    if (isSilent || (fits.length > 0 && fits.every((one) => one === false))) {
      isChecked = true;
      const [first] = heard;
      const seen =
        first === undefined
          ? `neither of ${a.name} and ${b.name} hears the other, though both announce themselves`
          : `${first.from.name} hears ${first.to.name} on ${first.from.label(first.port)}, which announces port ${first.to.label(first.toPort)}`;
      add(
        "link",
        `The plan has a link ${name}, but ${seen}`,
        "A finding that names this link, or one behind it, may mean another",
      );
    }
  }
  for (const [device, { port }] of [
    [a, link.a],
    [b, link.b],
  ] as const) {
    const own = device?.reading == null ? null : device.portOfPlan(port);
    if (device === undefined || own === null) continue;
    isChecked = true;
    for (const [kind, sentence, effect] of checkPort(graph, link, device, own)) add(kind, sentence, effect);
  }
  return { contradictions: oncePerSentence(found), isChecked };
}

const oncePerSentence = (found: readonly SiteContradiction[]): readonly SiteContradiction[] => [
  ...new Map(found.map((one) => [`${one.kind} ${one.sentence}`, one])).values(),
];

const announces = (device: DrawnDevice, pairs: readonly AnnouncedPair[]): boolean =>
  pairs.some(({ to }) => to === device);
const hearsOthers = (device: DrawnDevice, pairs: readonly AnnouncedPair[]): boolean =>
  device.reading !== null && device.reading.neighbours !== null && pairs.some(({ from }) => from === device);

/** @returns null where the names of ports cannot be compared */
function fitsLink({ from, port, to, toPort }: AnnouncedPair, link: SiteLink, a: DrawnDevice): boolean | null {
  const [own, other]: readonly [PortRef, PortRef] = from === a ? [link.a, link.b] : [link.b, link.a];
  const [near, far] = [isSamePort(own.port, from.namesOf(port)), isSamePort(other.port, to.namesOf(toPort))];
  if (near === false || far === false) return false;
  return near === null && far === null ? null : true;
}

type PortAnswer = readonly [kind: SiteContradiction["kind"], sentence: string, effect: string];

function checkPort(graph: SiteGraph, link: SiteLink, device: DrawnDevice, port: string): readonly PortAnswer[] {
  const where = `${device.name}:${device.label(port)}`;
  const answers: PortAnswer[] = [];
  const speedBps = device.speedOf(port);
  if (link.isBlocked !== true && device.isUp(port) === false) {
    answers.push([
      "down",
      `${where} is down, and the plan has a link there`,
      "Nothing crosses it: what lies behind gets nothing",
    ]);
  }
  if (link.speedBps !== null && speedBps !== null && speedBps !== link.speedBps) {
    const [planned, seen] = [formatRateBps(link.speedBps), formatRateBps(speedBps)];
    const effect = "Loads and limits of this link are worked out from the wrong speed";
    answers.push(["speed", `The plan gives the link at ${where} ${planned}, and the port says ${seen}`, effect]);
  }
  if (device.isHalfDuplex(port)) {
    const effect = "Loss on this link grows with its load, whatever is sent";
    answers.push([
      "duplex",
      `${where} runs at half duplex, as where one end negotiates and the other does not`,
      effect,
    ]);
  }
  if (device.isBlocked(port) && link.isBlocked !== true) {
    const effect = "Nothing crosses it, and the way that the plan draws is not the one that is used";
    answers.push(["blocked", `Spanning tree blocks ${where}, and the plan has the link in use`, effect]);
  }
  const seen = device.vlansOf(port);
  if (graph.vlans !== undefined && seen.length > 0 && device.kind !== "router") {
    const missing = (link.vlans ?? []).filter((vlan) => !seen.includes(vlan));
    if (missing.length > 0) {
      const effect = `What is sent in VLAN ${missing.join(", ")} does not pass there`;
      answers.push([
        "vlan",
        `The plan has VLAN ${missing.join(", ")} on ${where}, and the port carries ${seen.join(", ")}`,
        effect,
      ]);
    }
  }
  return answers;
}

/** Links between devices of the plan that it does not have. */
function unplannedPairs(
  graph: SiteGraph,
  devices: ReadonlyMap<string, DrawnDevice>,
  pairs: readonly AnnouncedPair[],
): readonly SiteContradiction[] {
  const found = pairs.flatMap(({ from, port, to, toPort }): SiteContradiction[] => {
    if (!graph.nodes.has(from.name) || !graph.nodes.has(to.name)) return [];
    const near = nearestTalkers(graph, from.name, (name) => devices.has(name));
    const isPlanned = near.some(({ node }) => node === to.name);
    const isBlocked = graph.links.some(
      ({ a, b, isBlocked: spare }) =>
        spare === true && [a.node, b.node].toSorted().join() === [from.name, to.name].toSorted().join(),
    );
    if (isPlanned || isBlocked) return [];
    const [first, second] = [`${from.name}:${from.label(port)}`, `${to.name}:${to.label(toPort)}`].toSorted();
    return [
      {
        kind: "link",
        places: [from.name, to.name],
        sentence: `${first} and ${second} are linked, and the plan has no such link`,
        effect: "Traffic may take a way that the plan does not have",
      },
    ];
  });
  return oncePerSentence(found);
}
