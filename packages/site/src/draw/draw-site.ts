import { askForRouters } from "./ask-for-routers.ts";
import type { Drawing, DrawnNode } from "./drawing.ts";
import type { DrawnDevice } from "./drawn-device.ts";
import { DrawnVlans } from "./drawn-vlans.ts";
import type { HostFacts } from "./host-facts.ts";
import { ObservedJoints } from "./join-observed.ts";
import { JoinedEnds } from "./joined-ends.ts";
import { KnownDevices } from "./know-devices.ts";
import { type Observations, stillTrue } from "./observations.ts";
import { PlanNames } from "./plan-names.ts";
import { SiteLinks } from "./site-links.ts";

/**
 * Draws a site by what was seen of it. Links that somebody announced are seen; hosts in forwarding tables are placed by conclusion;
 * what stands between several ends and announces nothing becomes an unmanaged switch, with a question. What nothing tells
 * hangs on a node of its own, `unseen`, so that the plan can be read; each such line is open.
 */
export function drawSite(observed: Observations, site: string): Drawing {
  const observations = stillTrue(observed);
  const names = new PlanNames();
  const devices = new KnownDevices(observations, names);
  const hosts = observations.hosts.map((told): HostFacts => ({ ...told, name: names.take(told.agent) }));
  const joined = new JoinedEnds();
  const { open, questions: asked } = new ObservedJoints(devices, hosts, joined).join();
  const questions = [...asked, ...askForRouters(hosts, devices.all)];
  const vlans = new DrawnVlans(observations, devices, hosts, questions);
  const nodes = [...devices.all.map(nodeOfDevice), ...hosts.map((host) => nodeOfHost(host, joined))];
  const layer = new SiteLinks({ nodes, questions }, vlans, names, devices.all);
  for (const joint of joined.joints()) layer.draw(joint);
  for (const { host, device, because } of open) {
    layer.drawOpen({ node: device, port: layer.freePort(device) }, host, because);
  }
  layer.joinParts();
  return { site, vlans: vlans.section(layer.links), nodes, links: layer.links, questions };
}

const nodeOfDevice = ({ name, kind, reading, management }: DrawnDevice): DrawnNode => ({
  name,
  kind,
  agent: null,
  addresses: [],
  management,
  by: "seen",
  because: reading === null ? "it announces itself" : "it was read",
});

function nodeOfHost({ name, agent }: HostFacts, joined: JoinedEnds): DrawnNode {
  const isSeen = joined.isSeen({ kind: "host", host: name });
  return {
    name,
    kind: "host",
    agent,
    addresses: [],
    management: null,
    by: "seen",
    because: isSeen ? "its agent is connected" : "its agent is connected; where it hangs follows from tables",
  };
}
