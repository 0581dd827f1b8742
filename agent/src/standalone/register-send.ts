import {
  DEFAULT_UDP_PORT,
  formatDurationNs,
  formatRateBps,
  parseDurationNs,
  parseRateBps,
  parseSizeBytes,
} from "@dyetrace/wire";
import { type Command, Option } from "commander";
import { DEFAULT_DATA_FOLDER } from "../config/agent-config.ts";
import { chooseInterface } from "../config/choose-interface.ts";
import { refuseWhileStopped, watchHostStop } from "../config/host-stop.ts";
import { readAgentConfig } from "../config/read-agent-config.ts";
import { groupArgument, wholeNumber } from "./group-argument.ts";
import { sendStream } from "./send-stream.ts";
import { stopRequest } from "./stop-request.ts";

interface SendOptions {
  readonly rate: number;
  readonly payload: number;
  readonly port: number;
  readonly ttl: number;
  readonly dscp: number;
  readonly interface?: string;
  readonly duration: number;
  readonly burst: number;
  readonly allowSending: boolean;
  readonly despiteTraffic: boolean;
  readonly config?: string;
  readonly data: string;
  readonly sockets: "auto" | "linux" | "portable";
  readonly json: boolean;
}

const RATE_BPS = 100e3;
const PAYLOAD_BYTES = 1316;
const DURATION_NS = 60e9;

/** `dyetrace-agent send GROUP`: one marked stream, with no controller. */
export function registerSend(program: Command): void {
  program
    .command("send")
    .description("Pour one marked stream into a group, with no controller. `listen` on another host measures it.")
    .argument("<group>", "for example 239.195.10.4 or ff15::10:4", groupArgument)
    .addOption(
      new Option("--rate <rate>", "UDP payload bits per second, for example '8 Mbit/s'")
        .argParser(parseRateBps)
        .default(RATE_BPS, formatRateBps(RATE_BPS)),
    )
    .addOption(
      new Option("--payload <size>", "UDP payload of each packet")
        .argParser(parseSizeBytes)
        .default(PAYLOAD_BYTES, `${PAYLOAD_BYTES} B`),
    )
    .option("--port <port>", "UDP port", wholeNumber(1, 65_535), DEFAULT_UDP_PORT)
    .option("--ttl <hops>", "1 stays in this subnet", wholeNumber(1, 255), 1)
    .option("--dscp <number>", "0 is best effort", wholeNumber(0, 63), 0)
    .option("--interface <name>", "the interface to the tested network (default: the only one there is)")
    .addOption(
      new Option("--duration <time>", "when the source stops by itself")
        .argParser(parseDurationNs)
        .default(DURATION_NS, formatDurationNs(DURATION_NS)),
    )
    .option("--burst <packets>", "packets sent back to back at one due time", wholeNumber(1, 1024), 1)
    .option("--allow-sending", "you have read the cautions, and may send on this network", false)
    .option("--despite-traffic", "send though the group is in use", false)
    .option("--config <file>", "this host's own limits (default: /etc/dyetrace/agent.yaml)")
    .option("--data <folder>", "the folder of this host's agent, which `stop` holds", DEFAULT_DATA_FOLDER)
    .addOption(
      new Option("--sockets <kind>", "how to reach the network").choices(["auto", "linux", "portable"]).default("auto"),
    )
    .option("--json", "one line of JSON for each second, and one at the end", false)
    .action(async (group: string, options: SendOptions) => {
      const config = readAgentConfig(options.config);
      refuseWhileStopped(options.data);
      const stop = stopRequest();
      using _hold = watchHostStop(options.data, stop.end);
      try {
        const sentPackets = await sendStream({
          ...options,
          group,
          contact: config.contact,
          guards: { ...config.guards, allowSending: config.guards.allowSending || options.allowSending },
          interfaceName: options.interface ?? chooseInterface(),
          rateBps: options.rate,
          payloadBytes: options.payload,
          durationNs: options.duration,
          burstPackets: options.burst,
          stop: stop.signal,
        });
        if (sentPackets === 0) process.exitCode = 1;
      } finally {
        stop.release();
      }
    });
}
