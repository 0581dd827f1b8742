import type { ConsoleAgent } from "@dyetrace/wire/console/console-agent";

export interface HostCheck {
  readonly name: string;
  /** `good`; `limits`: something cannot be seen from here; `spoils`: a run with this agent will mislead or fail. */
  readonly status: "good" | "limits" | "spoils";
  readonly says: string;
}

/** A clock that is known no better than this makes delays between hosts meaningless (common practice, no source). */
const CLOCK_WITHIN_NS = 1e6;

/** What an agent's own account says about the runs it takes part in. Pure. @param controllerVersion null: unknown */
export function hostChecks(agent: ConsoleAgent, controllerVersion: string | null): readonly HostCheck[] {
  const { capabilities: can, clock, version, lacks } = agent;
  const limit = (name: string, isGood: boolean, good: string, bad: string): HostCheck => ({
    name,
    status: isGood ? "good" : "limits",
    says: isGood ? good : bad,
  });
  return [
    ...(can.interface.isUp === false ? [{ name: "interface", status: "spoils", says: "it is down" } as const] : []),
    ...(controllerVersion !== null && version !== controllerVersion
      ? [
          {
            name: "version",
            status: "limits",
            says: `${version}, and the controller has ${controllerVersion}`,
          } as const,
        ]
      : []),
    limit(
      "watching",
      can.watcher,
      "sees frames that it did not join, queries and reports",
      "cannot see frames that it did not join: leaks, queries and leave delays stay unknown here",
    ),
    limit(
      "arrival times",
      can.kernelTimestamps,
      "are the kernel's own",
      "are taken when the program reads, so jitter holds the host's own delays",
    ),
    limit(
      "host loss",
      can.hostLossCount,
      "is counted apart from network loss",
      "cannot be told from network loss on this host",
    ),
    limit("TTL and DSCP", can.ttlSeen && can.dscpSeen, "are seen", "are not both seen: hops or markings stay unknown"),
    limit(
      "destination",
      can.destinationSeen,
      "is checked",
      "is not seen: another program's group could be taken for ours",
    ),
    ...(lacks ?? []).map((sentence) => ({ name: "rights", status: "limits", says: sentence }) as const),
    limit("source-specific joins", can.ssm, "work", "do not work here"),
    limit("IPv6", can.ipv6, "works", "does not work here"),
    ...(clock !== null && clock.uncertaintyNs > CLOCK_WITHIN_NS
      ? [
          {
            name: "clock",
            status: "limits",
            says: "is known only roughly, so delays between hosts are rough too",
          } as const,
        ]
      : []),
  ];
}
