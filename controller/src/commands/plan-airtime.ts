import { writeFileSync } from "node:fs";
import {
  type AirStation,
  checkScenarioAgainstSite,
  loadSitePlan,
  makeMcsMode,
  modeOfRate,
  type SiteGraph,
} from "@dyetrace/site";
import { Fault, loadScenario, parseDurationNs, parseRateBps, type Scenario } from "@dyetrace/wire";
import { noSuchMode, type PhyMode } from "@dyetrace/wire/air/phy-mode";
import type { RadioBand } from "@dyetrace/wire/air/ppdu-time";
import { type Command, Option } from "commander";
import { channelAirtimes } from "../plan/channel-airtime.ts";
import { type AirtimeOptions, planAirtime } from "../plan/plan-airtime.ts";
import { renderAirtime } from "../report/terminal-airtime.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { collect, parseSetting } from "./run.ts";

interface Options {
  readonly scenario?: string;
  readonly set: readonly string[];
  readonly basicRate: readonly string[];
  readonly stationRate: readonly string[];
  readonly standard?: "n" | "ac" | "ax";
  readonly mcs?: string;
  readonly streams?: string;
  readonly channelWidth?: string;
  readonly guardInterval?: string;
  readonly aggregate?: string;
  readonly band?: RadioBand;
  readonly open?: boolean;
  readonly json?: string;
}

export function registerPlanAirtime(plan: Command): void {
  plan
    .command("airtime")
    .description("The least share of each access point's air that streams take, as multicast and as unicast.")
    .argument("<plan>", "site plan (YAML)")
    .option("--scenario <file>", "whose streams; without one, 1 Mbit/s in packets of 1316 B")
    .option("--set <name=value>", "replace one of the scenario's parameters; may be given again", collect, [])
    .option("--basic-rate <rate>", "rate of multicast frames, such as '6 Mbit/s'; may be given again", collect, [])
    .option("--station-rate <rate>", "rate of unicast frames up to 54 Mbit/s; may be given again", collect, [])
    .addOption(new Option("--standard <name>", "mode of unicast frames, with --mcs").choices(["n", "ac", "ax"]))
    .option("--mcs <number>", "modulation and coding of unicast frames, such as 7")
    .option("--streams <number>", "spatial streams of unicast frames (default: 1)")
    .option("--channel-width <width>", "such as '80 MHz' (default: 20 MHz)")
    .option("--guard-interval <time>", "such as '400 ns' (default: 800 ns)")
    .option("--aggregate <frames>", "unicast frames in one A-MPDU (default: 1)")
    .addOption(
      new Option("--band <band>", "the band (default: the plan's, else 5 GHz)").choices(["2.4 GHz", "5 GHz", "6 GHz"]),
    )
    .option("--open", "without encryption")
    .option("--json <file>", "write the result as JSON; - for standard output")
    .action((planFile: string, options: Options) => {
      const graph = loadSitePlan(readUserFile(planFile), planFile);
      const scenario = options.scenario === undefined ? null : readScenario(options.scenario, options.set, graph);
      const accessPoints = planAirtime(graph, scenario, airtimeOptions(options));
      const channels = channelAirtimes(accessPoints);
      const json = `${JSON.stringify({ site: graph.name, accessPoints, channels }, null, 2)}\n`;
      if (options.json !== undefined && options.json !== "-") writeFileSync(options.json, json);
      if (options.json === "-") process.stdout.write(json);
      else process.stdout.write(renderAirtime(graph.name, accessPoints, channels, paintFor(process.stdout)));
    });
}

/** A scenario that fits the site, with parameters as `name=value`. */
export function readScenario(file: string, settings: readonly string[], graph: SiteGraph): Scenario {
  const loaded = loadScenario(readUserFile(file), file, { parameters: Object.fromEntries(settings.map(parseSetting)) });
  checkScenarioAgainstSite(loaded, graph);
  return loaded.scenario;
}

/** @throws {Fault} OPTION_INVALID, UNIT_INVALID */
export function airtimeOptions(options: Options): AirtimeOptions {
  const aggregatedFrames = wholeOption(options.aggregate, "--aggregate", 1, 64) ?? 1;
  const station = (mode: PhyMode): AirStation => ({ mode, aggregatedFrames });
  const rates = options.stationRate.map((text) => station(parseRateMode(text)));
  const mcs = mcsMode(options);
  const stations = mcs === null ? rates : [...rates, station(mcs)];
  return {
    band: options.band ?? null,
    isProtected: options.open === true ? false : null,
    multicastModes: options.basicRate.length === 0 ? null : options.basicRate.map(parseRateMode),
    stations: stations.length === 0 ? null : stations,
  };
}

function parseRateMode(text: string): PhyMode {
  const mode = modeOfRate(parseRateBps(text));
  if (mode !== null) return mode;
  throw new Fault(
    "OPTION_INVALID",
    `${text} is no rate of IEEE 802.11a, b or g`,
    "Write one of 1, 2, 5.5, 6, 9, 11, 12, 18, 24, 36, 48, 54 Mbit/s; of unicast frames above that, give --standard, --mcs, --streams and --channel-width",
  );
}

/** @returns null where no such mode was asked about */
function mcsMode(options: Options): PhyMode | null {
  const { standard } = options;
  const mcs = wholeOption(options.mcs, "--mcs", 0, 31);
  if (standard === undefined) {
    const orphan = (["mcs", "streams", "channelWidth", "guardInterval"] as const).find(
      (key) => options[key] !== undefined,
    );
    if (orphan === undefined) return null;
    throw new Fault("OPTION_INVALID", "An MCS means nothing without the standard", "Add --standard n, ac or ax");
  }
  if (mcs === null) throw new Fault("OPTION_INVALID", `802.11${standard} is asked about without an MCS`, "Add --mcs 7");
  const widthMhz = { "20 MHz": 20, "40 MHz": 40, "80 MHz": 80, "160 MHz": 160 }[options.channelWidth ?? "20 MHz"];
  const guardNs = parseDurationNs(options.guardInterval ?? "800 ns");
  const isGuard = (standard === "ax" ? [800, 1600, 3200] : [400, 800]).includes(guardNs);
  if (widthMhz === undefined || (standard === "n" && widthMhz > 40)) {
    throw new Fault(
      "OPTION_INVALID",
      `802.11${standard} has no ${options.channelWidth}`,
      "Write '20 MHz' or '40 MHz', or with ac and ax '80 MHz' or '160 MHz'",
    );
  }
  if (!isGuard) {
    throw new Fault(
      "OPTION_INVALID",
      `802.11${standard} has no guard interval of ${options.guardInterval}`,
      "Write '400 ns' or '800 ns', or with ax '800 ns', '1600 ns' or '3200 ns'",
    );
  }
  if (options.band === "2.4 GHz" && (standard === "ac" || widthMhz > 40)) {
    throw new Fault(
      "OPTION_INVALID",
      "At 2.4 GHz there is no 802.11ac, and nothing wider than 40 MHz",
      "Write --band '5 GHz'",
    );
  }
  const mode = makeMcsMode(
    standard,
    mcs,
    wholeOption(options.streams, "--streams", 1, 8) ?? undefined,
    widthMhz,
    guardNs,
  );
  const why = noSuchMode(mode);
  if (why !== null)
    throw new Fault("OPTION_INVALID", `802.11${standard} ${why}`, "Write another MCS, width or number of streams");
  return mode;
}

function wholeOption(text: string | undefined, name: string, least: number, most: number): number | null {
  if (text === undefined) return null;
  const value = /^[0-9]{1,2}$/.test(text) ? Number(text) : Number.NaN;
  if (value >= least && value <= most) return value;
  throw new Fault("OPTION_INVALID", `${name} ${text} is no number that this counts for`, `Write ${least} to ${most}`);
}
