import { writeFileSync } from "node:fs";
import {
  checkScenarioAgainstSite,
  loadSitePlan,
  OFDM_RATES_BPS,
  type OfdmRateBps,
  type SiteGraph,
} from "@dyetrace/site";
import { Fault, formatRateBps, loadScenario, parseRateBps, type Scenario } from "@dyetrace/wire";
import type { Command } from "commander";
import { AIRTIME_DEFAULTS, type AirtimeOptions, isOfdmRate, planAirtime } from "../plan/plan-airtime.ts";
import { renderAirtime } from "../report/terminal-airtime.ts";
import { paintFor } from "../report/terminal-paint.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { collect, parseSetting } from "./run.ts";

interface Options {
  readonly scenario?: string;
  readonly set: readonly string[];
  readonly basicRate: readonly string[];
  readonly stationRate: readonly string[];
  readonly band: string;
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
    .option("--station-rate <rate>", "rate of unicast frames; may be given again", collect, [])
    .option("--band <band>", "5 GHz or 2.4 GHz", AIRTIME_DEFAULTS.band)
    .option("--open", "without encryption")
    .option("--json <file>", "write the result as JSON; - for standard output")
    .action((planFile: string, options: Options) => {
      const graph = loadSitePlan(readUserFile(planFile), planFile);
      const scenario = options.scenario === undefined ? null : readScenario(options.scenario, options.set, graph);
      const asked = airtimeOptions(options);
      const accessPoints = planAirtime(graph, scenario, asked);
      const json = `${JSON.stringify({ site: graph.name, ...asked, accessPoints }, null, 2)}\n`;
      if (options.json !== undefined && options.json !== "-") writeFileSync(options.json, json);
      if (options.json === "-") process.stdout.write(json);
      else process.stdout.write(renderAirtime(graph.name, accessPoints, asked, paintFor(process.stdout)));
    });
}

function readScenario(file: string, settings: readonly string[], graph: SiteGraph): Scenario {
  const loaded = loadScenario(readUserFile(file), file, { parameters: Object.fromEntries(settings.map(parseSetting)) });
  checkScenarioAgainstSite(loaded, graph);
  return loaded.scenario;
}

/** @throws {Fault} OPTION_INVALID, UNIT_INVALID */
function airtimeOptions({ band, open, basicRate, stationRate }: Options): AirtimeOptions {
  if (band !== "5 GHz" && band !== "2.4 GHz") {
    throw new Fault("OPTION_INVALID", `--band ${band} is no band that this counts for`, "Write '5 GHz' or '2.4 GHz'");
  }
  const rates = (texts: readonly string[], standard: readonly OfdmRateBps[]): readonly OfdmRateBps[] =>
    texts.length === 0 ? standard : texts.map(parseOfdmRate);
  return {
    band,
    isProtected: open !== true,
    basicRatesBps: rates(basicRate, AIRTIME_DEFAULTS.basicRatesBps),
    stationRatesBps: rates(stationRate, AIRTIME_DEFAULTS.stationRatesBps),
  };
}

function parseOfdmRate(text: string): OfdmRateBps {
  const rateBps = parseRateBps(text);
  if (isOfdmRate(rateBps)) return rateBps;
  const known = OFDM_RATES_BPS.map(formatRateBps).join(", ");
  throw new Fault("OPTION_INVALID", `${text} is no OFDM rate of IEEE 802.11`, `Write one of ${known}`);
}
