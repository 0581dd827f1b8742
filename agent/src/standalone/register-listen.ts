import { DEFAULT_UDP_PORT, parseDurationNs } from "@dyetrace/wire";
import { type Command, Option } from "commander";
import { chooseInterface } from "../config/choose-interface.ts";
import { followGroup } from "./follow/follow-group.ts";
import { groupArgument, wholeNumber } from "./group-argument.ts";
import { ListenView } from "./listen-view.ts";
import { stopRequest } from "./stop-request.ts";

interface ListenOptions {
  readonly source?: string;
  readonly port: number;
  readonly interface?: string;
  readonly duration?: number;
  readonly sockets: "auto" | "linux" | "portable";
  readonly json: boolean;
}

/** `dyetrace-agent listen GROUP`: join, measure, show; with no controller. */
export function registerListen(program: Command): void {
  program
    .command("listen")
    .description("Join a group and measure what arrives: test streams, RTP, MPEG-TS, or just rate and silence.")
    .argument("<group>", "for example 239.195.10.4 or ff15::10:4", groupArgument)
    .option("--source <address>", "join this source only (RFC 4607)")
    .option("--port <port>", "UDP port", wholeNumber(1, 65_535), DEFAULT_UDP_PORT)
    .option("--interface <name>", "the interface to the tested network (default: the only one there is)")
    .option("--duration <time>", "leave after this time (default: when stopped by Ctrl-C)", parseDurationNs)
    .addOption(
      new Option("--sockets <kind>", "how to reach the network").choices(["auto", "linux", "portable"]).default("auto"),
    )
    .option("--json", "one line of JSON for each second, and one at the end", false)
    .action(async (group: string, options: ListenOptions) => {
      const interfaceName = options.interface ?? chooseInterface();
      const from = options.source === undefined ? "" : ` from ${options.source}`;
      const title = `${group} port ${options.port}${from} on ${interfaceName}`;
      const write = (text: string): void => void process.stdout.write(text);
      const view = new ListenView(title, {
        isLive: process.stdout.isTTY && !options.json,
        write: options.json ? () => undefined : write,
      });
      const stop = stopRequest();
      try {
        await followGroup({
          group,
          port: options.port,
          source: options.source ?? null,
          interfaceName,
          sockets: options.sockets,
          durationNs: options.duration ?? null,
          stop: stop.signal,
          onJoined: () => process.stderr.write(`Joined ${title}; Ctrl-C leaves\n`),
          onReport: (report) => {
            view.take(report);
            if (options.json) write(`${JSON.stringify({ kind: "interval", ...report })}\n`);
          },
        });
      } finally {
        stop.release();
      }
      if (options.json) write(`${JSON.stringify({ kind: "summary", ...view.summary() })}\n`);
      else write(`${view.describeSummary().join("\n")}\n`);
      if (view.packets === 0) process.exitCode = 1;
    });
}
