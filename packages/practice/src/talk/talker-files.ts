import type { DeviceSecret } from "./device-secret.ts";
import { DEVICE_USER } from "./device-secret.ts";
import type { Talker, TalkerPort } from "./talkers.ts";

/** In the site's own /run: everything of it goes with the site. */
export const folderOf = (name: string): string => `/run/talk/${name}`;

export const probeSocketOf = (name: string): string => `${folderOf(name)}/probe`;
/** Opens nothing but a socket inside the site's own /run. */
export const PROBE_COMMUNITY = "probe";

/** The parts of the tree that our own program answers, by the name of their pipes. */
export const TREES = {
  bridge: "1.3.6.1.2.1.17",
  inMulticast: "1.3.6.1.2.1.31.1.1.1.8",
  outMulticast: "1.3.6.1.2.1.31.1.1.1.12",
} as const;
export type TreeName = keyof typeof TREES;
export const TREE_NAMES = Object.keys(TREES) as readonly TreeName[];

/**
 * `pass_persist` speaks over the standard streams of a process of its own. One program answers for all switches of the site,
 * so what is started here only hands the two streams on through named pipes. Each start has a pipe of its own for its answers and
 * says so first: an answer that the one before did not take would be the answer to another question.
 */
export const RELAY: string = [
  'exec 3> "$1.questions"',
  'mkfifo -m 0600 "$1.$$"',
  'echo "SESSION $1.$$" >&3',
  'cat "$1.$$" &',
  "exec cat >&3",
  "",
].join("\n");
export const RELAY_FILE = "/run/talk/relay.sh";

/** @see snmpd.conf(5) of Debian's package */
export function snmpdText({ name, management, ports }: Talker, { authKey, privKey }: DeviceSecret): string {
  return [
    `agentAddress udp:${management}:161,unix:${probeSocketOf(name)}`,
    // Whether it answers for lldpd is asked here, and nothing else.
    `com2secunix probe ${probeSocketOf(name)} ${PROBE_COMMUNITY}`,
    "group probe v2c probe",
    "view probe included .1.0.8802",
    "view probe included .1.3.6.1.2.1.1.3",
    'access probe "" any noauth exact probe none none',
    "master agentx",
    `agentXSocket ${folderOf(name)}/agentx`,
    // After 6 s without an answer it would cut off an `lldpd` that a busy machine keeps waiting, which comes back 15 s later at best.
    "agentXTimeout 60",
    "agentXRetries 0",
    `createUser ${DEVICE_USER} SHA "${authKey}" AES "${privKey}"`,
    `rouser ${DEVICE_USER} priv`,
    `sysName ${name}`,
    "sysDescr A node of a dyetrace practice site",
    "dontLogTCPWrappersConnects yes",
    ...ports.flatMap(({ interfaceName, speedBps }) =>
      // The kernel says 10 Gbit/s of every virtual link. The figure travels in 32 bits.
      speedBps === null || speedBps > 0xffff_ffff ? [] : [`interface ${interfaceName} 6 ${speedBps}`],
    ),
    ...TREE_NAMES.map((tree) => `pass_persist -p 10 .${TREES[tree]} /bin/sh ${RELAY_FILE} ${folderOf(name)}/${tree}`),
    "",
  ].join("\n");
}

/** @see lldpcli(8) of Debian's package */
export function lldpdText({ name, kind, ports }: Talker): string {
  const announcing = ports.filter(({ isAnnouncing }) => isAnnouncing);
  return [
    `configure system hostname ${name}`,
    'configure system description "A node of a dyetrace practice site"',
    "configure lldp tx-interval 2",
    "configure lldp tx-hold 4",
    `configure system interface pattern ${announcing.map(({ interfaceName }) => interfaceName).join(",")}`,
    "configure system ip management pattern mgmt0",
    ...(kind === "access-point" ? ["configure system capabilities enabled bridge,wlan"] : []),
    ...announcing.flatMap((port) => [
      `configure ports ${port.interfaceName} lldp portidsubtype local ${port.port}`,
      ...vlanWords(port).map((words) => `configure ports ${port.interfaceName} lldp custom-tlv ${words}`),
    ]),
    "",
  ].join("\n");
}

/** IEEE 802.1Q, annex D: the VLAN of untagged frames (subtype 1), or the name of one whose frames bear its tag (subtype 3). */
function vlanWords({ vlan, isTrunk }: TalkerPort): string[] {
  if (vlan === null) return [];
  const number = [vlan >> 8, vlan & 255];
  const name = [...Buffer.from(`VLAN ${vlan}`)];
  const bytes = isTrunk ? [...number, name.length, ...name] : number;
  const hex = bytes.map((byte) => byte.toString(16).padStart(2, "0")).join(",");
  return [`add oui 00,80,c2 subtype ${isTrunk ? 3 : 1} oui-info ${hex}`];
}

/** Counts multicast frames at each port: the kernel's virtual links count none by themselves. */
export function countingRules({ ports }: Talker): string {
  const isMulticast = "ether daddr & 01:00:00:00:00:00 == 01:00:00:00:00:00 ether daddr != ff:ff:ff:ff:ff:ff";
  const chain = (direction: "in" | "out", { interfaceName, interfaceIndex }: TalkerPort): string[] => [
    `  counter ${direction}${interfaceIndex} { }`,
    `  chain ${direction}${interfaceIndex}c {`,
    // Nearest to the wire: what a fault drops in this switch came in, and did not go out.
    direction === "in"
      ? `    type filter hook ingress device "${interfaceName}" priority -400; policy accept;`
      : `    type filter hook egress device "${interfaceName}" priority 400; policy accept;`,
    `    ${isMulticast} counter name "${direction}${interfaceIndex}"`,
    "  }",
  ];
  return [
    `table netdev ${COUNTING_TABLE} {`,
    ...ports.flatMap((port) => [...chain("in", port), ...chain("out", port)]),
    "}",
    "",
  ].join("\n");
}

export const COUNTING_TABLE = "talk";
