import { formatDurationNs, type GroupUse, type IntervalReport, sayGroupUse, usesInTheWay } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import { openWatcher } from "../watcher/open-watcher.ts";

/** How long a group is listened to before anything is sent to it. */
const LISTEN_FIRST_NS = 2e9;

interface LookedFor {
  readonly streamId: number;
  readonly group: string;
  readonly port: number;
}

interface Means {
  readonly interfaceName: string;
  /** Joins the group for that long on its own port, and tells what came. */
  readonly listen: (forNs: number) => Promise<IntervalReport>;
}

/**
 * Joins a group for a moment and watches the network card for what others send to it, on any port, or to groups that share
 * its Ethernet address. Says on standard error what it does and what it can't see.
 * @returns one sentence about what is in use, null where nothing was seen @throws {Fault} AGENT_CANNOT
 */
export async function lookForUse(stream: LookedFor, { interfaceName, listen }: Means): Promise<string | null> {
  const watcher = await openWatcher({ interfaceName });
  try {
    const plan = { runId: "0".repeat(16), startMonotonicNs: Number(process.hrtime.bigint()), streams: [stream] };
    await watcher.watch({ ...plan, looksForUse: true });
    const { inability } = watcher;
    const isWide = inability === null;
    process.stderr.write(`${announce(stream, isWide)}\n`);
    if (inability !== null)
      process.stderr.write(
        `${inability.message}: other ports of the group, and groups that share its Ethernet address, are not looked at\n`,
      );
    const report = await listen(LISTEN_FIRST_NS);
    const seen = await watcher.snapshot();
    const [use] = usesInTheWay(stream.group, [...(seen?.groupUse ?? []), ...atOwnPort(report, stream)]);
    return use === undefined
      ? null
      : `${sayGroupUse(stream.group, stream.group, use, "this host saw")} in ${formatDurationNs(LISTEN_FIRST_NS)}`;
  } finally {
    await watcher.close();
  }
}

const announce = ({ group, port }: LookedFor, isWide: boolean): string =>
  `Listening to ${group}${isWide ? " on all ports" : ` port ${port}`} for ${formatDurationNs(LISTEN_FIRST_NS)} first`;

function atOwnPort({ totals }: IntervalReport, { group, port }: LookedFor): GroupUse[] {
  const foreign = totals?.listeners[0]?.foreign;
  if (foreign === undefined) throw new Fault("AGENT_CANNOT", "Listening before sending did not work", "Try again.");
  const { foreignPackets, malformedPackets, otherRunPackets, otherStreamPackets, sources } = foreign;
  const frames = foreignPackets + malformedPackets + otherRunPackets + otherStreamPackets;
  const source = sources.length === 0 ? "an unknown address" : sources.join(", ");
  return frames === 0 ? [] : [{ group, port, source, frames }];
}
