import type { Guards } from "@dyetrace/wire";
import { formatRateBps } from "@dyetrace/wire";
import { isLinuxSupported } from "../../sockets/linux/libc.ts";
import { probeSockets } from "../../sockets/linux/probe-sockets.ts";
import { type CheckResult, good, know, spoils, unknown } from "./check-result.ts";
import { readText } from "./read-setting.ts";

const CAP_SYS_NICE = 23n; // linux/capability.h

/** What this process may do, and what the host's own file lets a source do. */
export function checkRights(guards: Guards): CheckResult[] {
  return [...checkSockets(), checkPriority(), checkGuards(guards)];
}

function checkSockets(): CheckResult[] {
  if (!isLinuxSupported()) {
    return [
      know(
        "sockets",
        `portable ones on ${process.platform} ${process.arch}: no TTL, no DSCP, no loss of this host's own is seen`,
      ),
      unknown("watching", "this host cannot see what it did not join"),
    ];
  }
  try {
    const probe = probeSockets();
    return [
      good(
        "sockets",
        `Linux sockets, a receive buffer of ${probe.receiveBufferBytes} B${probe.ipv6 ? "" : ", no IPv6"}`,
      ),
      probe.packetSockets
        ? good("watching", "packet sockets may be opened: leaks, queries and reports are seen")
        : know(
            "watching",
            "no packet sockets (CAP_NET_RAW): leaks, queries and reports stay unseen",
            `setcap cap_net_raw+ep ${process.execPath}`,
          ),
    ];
  } catch (cause) {
    return [spoils("sockets", `UDP sockets cannot be opened: ${String(cause)}`, "See what confines this process.")];
  }
}

function checkPriority(): CheckResult {
  const capabilities = /^CapEff:\s*([0-9a-f]+)$/m.exec(readText("/proc/self/status") ?? "")?.[1];
  if (capabilities === undefined) return unknown("priority", "the rights of this process cannot be read");
  if (((BigInt(`0x${capabilities}`) >> CAP_SYS_NICE) & 1n) === 1n) {
    return good("priority", "a source's thread may go before the rest of this host");
  }
  return know(
    "priority",
    "no CAP_SYS_NICE: on a busy host a source sends late, and says so",
    `setcap cap_sys_nice+ep ${process.execPath}`,
  );
}

function checkGuards(guards: Guards): CheckResult {
  if (!guards.allowSending) {
    return know(
      "sending",
      "off: this host only listens",
      "Set allow-sending in /etc/dyetrace/agent.yaml, or give send --allow-sending.",
    );
  }
  const { maxRateBps, maxTtl, maxDscp } = guards;
  return good("sending", `allowed up to ${formatRateBps(maxRateBps)}, TTL ${maxTtl}, DSCP ${maxDscp}`);
}
