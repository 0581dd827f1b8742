import { planPlace, vlanOfPlace } from "@dyetrace/site";
import type { PracticeHost } from "../host/practice-host.ts";
import { isSnooping } from "../layout/node-kinds.ts";
import type { NodeLayout, PracticeLayout } from "../layout/practice-layout.ts";

/** One group at one port of a switch, as the kernel's bridge has it in its table. */
export interface GroupTableEntry {
  /** Name of the plan's node, its port, and the node at the other end. */
  readonly node: string;
  readonly port: string;
  readonly towards: string;
  /** Of a switch with several VLANs, which one it is. */
  readonly vlan: number | null;
  readonly family: 4 | 6;
  readonly group: string;
  /** What is left of its timer, or of the longest of its sources'; null: it has none. */
  readonly leftMs: number | null;
  /** How long ago that was so, when all tables had been read. */
  readonly agoMs: number;
}

/** @returns what every switch's table has of other hosts' groups now */
export async function readGroupTables(host: PracticeHost, layout: PracticeLayout): Promise<GroupTableEntry[]> {
  const nodes = [...layout.nodes.values()].filter(({ kind }) => isSnooping(kind));
  const namespaces = [...new Set(nodes.map(({ namespace }) => namespace))];
  const looks = await Promise.all(
    namespaces.map(async (namespace) => {
      const beganMs = performance.now();
      const { stdout } = await host.run(["bridge", "-n", namespace, "-d", "-s", "-j", "mdb", "show"]);
      return { namespace, stdout, atMs: (beganMs + performance.now()) / 2 };
    }),
  );
  const nowMs = performance.now();
  return looks.flatMap(({ namespace, stdout, atMs }) =>
    readTable(
      stdout,
      nodes.filter((node) => node.namespace === namespace),
      nowMs - atMs,
    ),
  );
}

interface TableJson {
  readonly mdb?: readonly {
    readonly dev: string;
    readonly port: string;
    readonly grp: string;
    readonly state: string;
    readonly timer?: string;
    readonly source_list?: readonly { readonly timer?: string }[];
  }[];
}

/**
 * @param json of `bridge -d -s -j mdb show`: seconds to hundredths, as text
 * @param nodes bridges of that namespace
 */
export function readTable(json: string, nodes: readonly NodeLayout[], agoMs: number): GroupTableEntry[] {
  const [table] = json.trim() === "" ? [] : (JSON.parse(json) as readonly TableJson[]);
  const found = new Map<string, GroupTableEntry>();
  for (const { dev, port: interfaceName, grp: group, state, timer, source_list: sources = [] } of table?.mdb ?? []) {
    const node = nodes.find(({ bridge }) => bridge === dev);
    // The switch's own groups stand there with the bridge as their port.
    const port = [...(node?.ports.values() ?? [])].find((one) => one.interfaceName === interfaceName);
    if (node === undefined || port === undefined) continue;
    const key = `${dev} ${interfaceName} ${group}`;
    const timersMs = [timer, ...sources.map((source) => source.timer)].map((text) => Number(text ?? 0) * 1000);
    const ownMs = state === "permanent" ? null : Math.max(...timersMs);
    const before = found.get(key);
    found.set(key, {
      node: planPlace(node.name),
      port: planPlace(port.port),
      towards: planPlace(port.peer.node),
      vlan: vlanOfPlace(node.name),
      family: group.includes(":") ? 6 : 4,
      group,
      // A group that is wanted from one source alone has an entry for that source as well.
      leftMs: ownMs === null || before?.leftMs === null ? null : Math.max(ownMs, before?.leftMs ?? 0),
      agoMs,
    });
  }
  return [...found.values()];
}
