import { setTimeout as sleep } from "node:timers/promises";
import type { PracticeSite } from "@dyetrace/practice";

/** The kernel's own account of a bridge's group table: `bridge monitor mdb` inside a switch. */
export interface GroupTableWatch extends AsyncDisposable {
  /**
   * When a group got its first port, or lost its last; ms since 1970, in order. One port at a time is looked for.
   * @param port the interface, where several have the group
   */
  times(change: "added" | "deleted", group: string, port?: string): readonly number[];
}

interface Change {
  readonly atMs: number;
  readonly isDeleted: boolean;
  readonly group: string;
  readonly port: string;
}

/** @param node a switch of the site */
export async function watchGroupTable(site: PracticeSite, node: string): Promise<GroupTableWatch> {
  const changes: Change[] = [];
  let stampMs = 0;
  // It stamps events when it reads them, so it must come as early as the agents' own threads (real-time priority).
  const argv = ["chrt", "--rr", "1", "stdbuf", "-oL", "bridge", "-timestamp", "monitor", "mdb"];
  const monitor = await site.spawn(node, argv, {
    env: { TZ: "UTC" },
    onLine: (line) => {
      const stamp = /^Timestamp: (.+) ([0-9]+) usec$/.exec(line);
      if (stamp !== null) stampMs = Date.parse(`${stamp[1]} UTC`) + Number(stamp[2]) / 1000;
      const group = / grp (\S+)/.exec(line)?.[1];
      const port = / port (\S+)/.exec(line)?.[1] ?? "";
      if (group !== undefined) changes.push({ atMs: stampMs, isDeleted: line.startsWith("Deleted"), group, port });
    },
  });
  await sleep(300); // until it listens
  return {
    times: (change, group, port) => {
      // A member's entry is told anew whenever its timer or its sources change.
      const own = changes.filter((one) => one.group === group && (port === undefined || one.port === port));
      const news = own.filter((one, i) => one.isDeleted !== (own[i - 1]?.isDeleted ?? true));
      return news.filter((one) => one.isDeleted === (change === "deleted")).map(({ atMs }) => atMs);
    },
    [Symbol.asyncDispose]: async () => {
      monitor.signal("SIGTERM");
      await monitor.exit;
    },
  };
}
