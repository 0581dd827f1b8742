import { readdirSync } from "node:fs";
import { type AgentInterface, formatRateBps } from "@dyetrace/wire";
import { queryInterface } from "../../sockets/linux/interface-query.ts";
import { isLinuxSupported } from "../../sockets/linux/libc.ts";
import { type CheckResult, good, know, spoils, unknown } from "./check-result.ts";
import { readSetting, readText } from "./read-setting.ts";

/** The interface itself, and what this host does with its traffic beside the agent. */
export function checkInterface(facts: AgentInterface): CheckResult[] {
  return [...checkState(facts), checkAddress(facts), checkWireless(facts), checkForwarding(), checkBridge()];
}

function checkState({ name, mtuBytes, speedBps, mac }: AgentInterface): CheckResult[] {
  const flags = isLinuxSupported() ? queryInterface(name)?.flags : undefined;
  if (flags === undefined) return [unknown("interface", `the state of ${name} cannot be read`)];
  const speed = speedBps === null ? "speed unknown" : formatRateBps(speedBps);
  const link = !flags.isUp
    ? spoils("interface", `${name} is down`, `ip link set ${name} up`)
    : flags.isRunning
      ? good("interface", `${name} is up, ${speed}, MTU ${mtuBytes} B, ${mac}`)
      : spoils("interface", `${name} has no carrier`, "Check the cable, the port, or the access point.");
  const multicast = flags.canMulticast
    ? good("multicast", `${name} may send and receive multicast`)
    : spoils("multicast", `${name} does not do multicast`, `ip link set ${name} multicast on`);
  return [link, multicast];
}

function checkAddress({ name, ipv4, ipv6 }: AgentInterface): CheckResult {
  const families = [ipv4, ...ipv6].filter((address) => address !== null).join(", ");
  if (families === "") {
    return spoils("address", `${name} has no address, so no group can be joined on it`, `ip address add … dev ${name}`);
  }
  if (ipv4 === null) return know("address", `${families}: only IPv6 groups can be used`);
  if (ipv6.length === 0) return know("address", `${families}: only IPv4 groups can be used`);
  return good("address", families);
}

function checkWireless({ name, isWireless }: AgentInterface): CheckResult {
  if (isWireless === null) return unknown("wireless", `whether ${name} is wireless cannot be read`);
  if (!isWireless) return good("wireless", `${name} is no Wi-Fi interface`);
  return know(
    "wireless",
    `${name} is Wi-Fi: group frames come at the cell's lowest rate, unacknowledged, and wait for power save`,
    `iw dev ${name} set power_save off`,
  );
}

function checkForwarding(): CheckResult {
  const [ip, multicast] = [readSetting("net.ipv4.ip_forward"), readSetting("net.ipv4.conf.all.mc_forwarding")];
  if (ip === null) return unknown("forwarding", "whether this host forwards packets cannot be read");
  if (multicast !== null && multicast > 0) {
    return spoils(
      "forwarding",
      "this host routes multicast, so it may carry the test to where it should not be",
      "Stop the multicast routing daemon for the test.",
    );
  }
  if (ip === 0) return good("forwarding", "this host forwards nothing");
  return know(
    "forwarding",
    "this host forwards unicast packets between its interfaces",
    "sysctl -w net.ipv4.ip_forward=0",
  );
}

function checkBridge(): CheckResult {
  if (readText("/proc/net/dev") === null) return unknown("bridge", "whether this host bridges cannot be read");
  const names = readdirSync("/sys/class/net").filter(
    (name) => readText(`/sys/class/net/${name}/bridge/bridge_id`) !== null,
  );
  if (names.length === 0) return good("bridge", "this host has no bridge");
  return know(
    "bridge",
    `this host has the bridge ${names.join(", ")}, which passes frames on and may snoop itself`,
    `ip link show type bridge`,
  );
}
