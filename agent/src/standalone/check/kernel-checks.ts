import { DEFAULT_UDP_PORT } from "@dyetrace/wire";
import { RECEIVE_BUFFER_BYTES } from "../../sockets/linux/probe-sockets.ts";
import { type CheckResult, good, know, spoils, unknown } from "./check-result.ts";
import { readInterfaceSetting, readSetting, readText } from "./read-setting.ts";

/** Settings of the kernel that make a host lose or refuse multicast in silence. */
export function checkKernel(interfaceName: string): CheckResult[] {
  return [
    checkReversePath(interfaceName),
    checkForcedVersion(interfaceName, "ipv4", "force_igmp_version", "IGMP", 3),
    checkForcedVersion(interfaceName, "ipv6", "force_mld_version", "MLD", 2),
    checkMemberships(),
    checkReceiveBuffer(),
    checkPort(),
  ];
}

/** The kernel takes the larger of the two settings (ip-sysctl: rp_filter). */
function checkReversePath(interfaceName: string): CheckResult {
  const own = readInterfaceSetting("ipv4", interfaceName, "rp_filter");
  const all = readInterfaceSetting("ipv4", "all", "rp_filter");
  if (own === null || all === null) return unknown("reverse-path filter", "its setting cannot be read");
  const inForce = Math.max(own, all);
  if (inForce !== 1) return good("reverse-path filter", inForce === 0 ? "off" : "loose");
  const which = all === 1 ? "all" : interfaceName;
  return spoils(
    "reverse-path filter",
    "strict: streams from a source that this host would not reach through this interface are dropped in silence",
    `sysctl -w net.ipv4.conf.${which}.rp_filter=${all === 1 ? 0 : 2}${all === 1 ? ` net.ipv4.conf.${interfaceName}.rp_filter=2` : ""}`,
  );
}

function checkForcedVersion(
  interfaceName: string,
  family: "ipv4" | "ipv6",
  setting: string,
  protocol: string,
  newest: number,
): CheckResult {
  const name = `${protocol} version`;
  const own = readInterfaceSetting(family, interfaceName, setting);
  const all = readInterfaceSetting(family, "all", setting);
  if (own === null || all === null) return unknown(name, "whether it is forced cannot be read");
  const forced = all !== 0 ? all : own; // igmp.c and mcast.c: the setting for all goes first
  if (forced === 0 || forced >= newest) return good(name, "not forced: it follows the querier");
  return spoils(
    name,
    `forced to ${forced}: no source-specific joins on the wire${protocol === "IGMP" && forced === 1 ? ", and no leaves" : ""}`,
    `sysctl -w net.${family}.conf.${all !== 0 ? "all" : interfaceName}.${setting}=0`,
  );
}

function checkMemberships(): CheckResult {
  const [groups, sources] = [readSetting("net.ipv4.igmp_max_memberships"), readSetting("net.ipv4.igmp_max_msf")];
  if (groups === null || sources === null) return unknown("memberships", "their limits cannot be read");
  const limits = `${groups} groups and ${sources} sources for each socket`;
  return groups === 0
    ? spoils("memberships", `${limits}: nothing can be joined`, "sysctl -w net.ipv4.igmp_max_memberships=20")
    : good("memberships", `${limits}; the agent takes a socket for each group`);
}

function checkReceiveBuffer(): CheckResult {
  const most = readSetting("net.core.rmem_max");
  if (most === null) return unknown("receive buffer", "its limit cannot be read");
  if (most >= RECEIVE_BUFFER_BYTES) return good("receive buffer", `may be ${most} B`);
  return know(
    "receive buffer",
    `may be ${most} B only, unless the agent has CAP_NET_ADMIN: a busy moment of this host loses packets`,
    `sysctl -w net.core.rmem_max=${RECEIVE_BUFFER_BYTES}`,
  );
}

/** Other programs on the port of tests: /proc/net/udp and udp6 name local addresses as HEX:PORT (proc(5)). */
function checkPort(): CheckResult {
  const tables = [readText("/proc/net/udp"), readText("/proc/net/udp6")];
  if (tables[0] === null) return unknown("port", "who listens on UDP ports cannot be read");
  const ending = `:${DEFAULT_UDP_PORT.toString(16).toUpperCase()}`;
  const holders = tables
    .flatMap((table) => (table ?? "").split("\n").slice(1))
    .filter((line) => line.trim().split(/\s+/)[1]?.endsWith(ending));
  if (holders.length === 0) return good("port", `nobody else listens on UDP ${DEFAULT_UDP_PORT}`);
  const count = holders.length === 1 ? "1 socket is" : `${holders.length} sockets are`;
  return know("port", `${count} open on UDP ${DEFAULT_UDP_PORT} already`, `ss -ulpn 'sport = :${DEFAULT_UDP_PORT}'`);
}
