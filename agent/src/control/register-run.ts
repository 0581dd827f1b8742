import { randomBytes } from "node:crypto";
import path from "node:path";
import { controllerAddress } from "@dyetrace/pin";
import { Fault, parseSizeBytes } from "@dyetrace/wire";
import { type Command, Option } from "commander";
import { type Logger, pino } from "pino";
import { VERSION } from "../about/version.ts";
import { Announcer } from "../announce/announcer.ts";
import { DEFAULT_DATA_FOLDER } from "../config/agent-config.ts";
import { chooseInterface } from "../config/choose-interface.ts";
import { guardsOnInterface } from "../config/guards-on-interface.ts";
import { readAgentConfig } from "../config/read-agent-config.ts";
import { waitForInterface } from "../config/wait-for-interface.ts";
import type { HostLimits } from "../data-plane/data-plane.ts";
import { readInterface } from "../data-plane/interface-facts.ts";
import { openDataPlane } from "../data-plane/open-data-plane.ts";
import { lackingRights } from "../process/own-rights.ts";
import { readAgain } from "../process/read-again.ts";
import { openServiceManager, type ServiceManager } from "../process/service-manager.ts";
import { openWatcher } from "../watcher/open-watcher.ts";
import { type AgentService, startAgentService } from "./agent-service.ts";
import type { KnownController } from "./ask-controller.ts";
import { type Credential, readCredential } from "./credential-file.ts";
import { enrolHost, isEnrolKey } from "./enrol-host.ts";
import { HostKeys } from "./host-keys.ts";
import { checkPin, ownName } from "./register-enrol.ts";
import { EXIT_UPGRADED, fetchUpgrade, keepUpgrade } from "./upgrade-agent.ts";

interface RunOptions {
  readonly controller?: readonly string[];
  readonly key?: string;
  readonly pin?: readonly string[];
  readonly name?: string;
  readonly interface?: string;
  readonly config?: string;
  readonly data: string;
  readonly spoolLimit: string;
  readonly sockets: "auto" | "linux" | "portable";
}

/** `dyetrace-agent run`: join a controller and do what it asks, within this host's own guards. */
export function registerRun(program: Command): void {
  program
    .command("run")
    .description("Join a controller and carry out its runs, within the limits of this host's own file.")
    .option(
      "--controller <url>",
      "for example https://192.0.2.1:8472; again for each further controller of the same estate (default: where this host was enrolled)",
      gatherAddress,
    )
    .option(
      "--key <key>",
      "what the controller's operator gave you (default: what DYETRACE_KEY holds, which no process list shows, or this host's own credential)",
    )
    .option(
      "--pin <pin>",
      "sha256//… of the controller's certificate, as the controller shows it; again for each controller, in their order, unless one is all's",
      gather,
    )
    .option("--name <name>", "the agent's name in the site plan (default: as enrolled, or this host's name)")
    .option("--interface <name>", "the interface to the tested network (default: as configured, or the only one)")
    .option("--config <file>", "this host's own limits (default: /etc/dyetrace/agent.yaml; without it sending is off)")
    .option("--data <folder>", "where reports wait while no controller takes them", DEFAULT_DATA_FOLDER)
    .option("--spool-limit <size>", "how much room they may take there", "256 MB")
    .addOption(
      new Option("--sockets <kind>", "how to reach the network").choices(["auto", "linux", "portable"]).default("auto"),
    )
    .action(async (options: RunOptions) => {
      let config = readAgentConfig(options.config);
      const log = pino({ level: process.env["DYETRACE_LOG"] ?? "info" }, pino.destination(2));
      const manager = await openServiceManager(process.env, (err) =>
        log.warn({ err }, "the service manager cannot be told how this agent is"),
      );
      const { controller: url, pin, name, keys, others = [] } = await findController(options);
      const controller = { url, pin };
      const controllers = withoutRepeats([
        controller,
        ...furtherControllers(options),
        ...others.map((other) => ({ url: other.controller, pin: other.pin })),
        ...config.controllers,
      ]);
      let interfaceName: string | null = null;
      let service: AgentService | null = null;
      const limitsOn = (name: string): HostLimits => ({
        guards: guardsOnInterface(config, name),
        contact: config.contact,
      });
      const reload = (): void => {
        manager.reloading();
        const read = readAgain(config, options.config, log);
        if (read !== null) config = read;
        if (read !== null && interfaceName !== null) service?.limit(limitsOn(interfaceName));
        manager.ready();
      };
      process.on("SIGHUP", reload);
      // Up as far as it is its own work: it waits for an interface and for a controller as long as it takes.
      manager.ready();
      interfaceName = await interfaceFor(options.interface ?? config.interfaceName, log, manager);
      if (interfaceName === null) return; // stopped while it waited
      const lacks = lackingRights();
      for (const sentence of lacks ?? []) log.info(`This agent ${sentence}`);
      const watcher = await openWatcher({ interfaceName });
      if (watcher.inability !== null) log.warn(`${watcher.inability.message}. ${watcher.inability.hint}`);
      const dataPlane = await openDataPlane({
        interfaceName,
        sockets: options.sockets,
        ...limitsOn(interfaceName),
        drawSenderId: () => randomBytes(4).readUInt32BE(),
      });
      const upgrade = (): Promise<string> => {
        const { upgradeKeys: upgraders, allowsDowngrade } = config;
        return fetchUpgrade(controller, { keys: upgraders, allowsDowngrade, ownVersion: VERSION }, options.data);
      };
      service = startAgentService({
        controllers,
        keys,
        name,
        lacks,
        get upgrade() {
          return config.allowsUpgrade ? upgrade : null;
        },
        onUp: () => {
          manager.status(`Connected to a controller, watching ${interfaceName}`);
          keepUpgrade(options.data, VERSION);
        },
        onDown: () => manager.status("Waiting for a controller"),
        dataPlane,
        watcher,
        log,
        dataFolder: options.data,
        spoolFolder: path.join(options.data, name),
        spoolMostBytes: parseSizeBytes(options.spoolLimit),
      });
      using _announcer = config.announces
        ? new Announcer(interfaceName, name, (why) => log.warn(`This host can't be announced to its neighbour: ${why}`))
        : null;
      const stop = (): void => {
        manager.stopping();
        void service?.close();
      };
      process.once("SIGINT", stop);
      process.once("SIGTERM", stop);
      try {
        if ((await service.done) === "upgraded") process.exitCode = EXIT_UPGRADED;
      } finally {
        await service.close();
        manager.close();
      }
    });
}

/**
 * The interface to the tested network, waited for: at a host's start it may come later than we do.
 * @returns null where the program was told to end meanwhile @throws {Fault} INTERFACE_UNKNOWN where nobody says which of several
 */
async function interfaceFor(
  wanted: string | null | undefined,
  log: Logger,
  manager: ServiceManager,
): Promise<string | null> {
  const ended = new AbortController();
  const end = (): void => ended.abort();
  process.once("SIGINT", end);
  process.once("SIGTERM", end);
  try {
    return await waitForInterface(
      () => {
        const name = wanted ?? chooseInterface();
        readInterface(name);
        return name;
      },
      (fault) => {
        manager.status(`${fault.message}. Waiting for it`);
        log.warn(`${fault.message}. ${fault.hint} Waiting for it`);
      },
      ended.signal,
    );
  } catch (error) {
    if (ended.signal.aborted) return null;
    throw error;
  } finally {
    process.off("SIGINT", end);
    process.off("SIGTERM", end);
  }
}

const gatherAddress = (one: string, before: readonly string[] = []): readonly string[] => [
  ...before,
  controllerAddress(one),
];
const gather = (one: string, before: readonly string[] = []): readonly string[] => [...before, one];

/** Those after the first. @throws {Fault} OPTION_INVALID */
function furtherControllers({ controller: urls = [], pin: pins = [] }: RunOptions): readonly KnownController[] {
  if (pins.length > 1 && pins.length !== urls.length) {
    throw new Fault(
      "OPTION_INVALID",
      `There are ${urls.length} addresses of controllers and ${pins.length} pins`,
      "Give --pin once where all have the same certificate, or once for each --controller and in the same order",
    );
  }
  return urls.slice(1).map((url, index) => ({ url, pin: checkPin(pins[index + 1] ?? pins[0]) }));
}

function withoutRepeats(controllers: readonly KnownController[]): readonly KnownController[] {
  const known = new Map<string, KnownController>();
  for (const one of controllers) if (!known.has(new URL(one.url).href)) known.set(new URL(one.url).href, one);
  return [...known.values()];
}

/**
 * Where to, and as whom: as the options say, or as this host was enrolled. A key that works once is given away for a
 * credential first.
 * @throws {Fault} OPTION_INVALID, and see `enrolHost`
 */
async function findController(
  options: RunOptions,
): Promise<Omit<Credential, "credential"> & { readonly keys: HostKeys }> {
  const own = (kept: Credential) => ({
    ...kept,
    keys: new HostKeys(options.data, kept.credential, kept.previous ?? null),
  });
  const kept = readCredential(options.data);
  const { key = process.env["DYETRACE_KEY"] } = options;
  const url = options.controller?.[0];
  const pin = checkPin(options.pin?.[0]);
  if (url === undefined || (kept !== null && kept.controller === url && (key === undefined || isEnrolKey(key)))) {
    if (kept !== null) return own(kept);
    throw new Fault(
      "OPTION_INVALID",
      `No credential of a controller is kept in ${options.data}`,
      "Enrol this host first: the controller's console has the line for it; or give --controller and --key",
    );
  }
  const name = options.name ?? ownName();
  if (key === undefined) throw new Fault("OPTION_INVALID", `There is no key for ${url}`, "Give --key");
  if (isEnrolKey(key)) return own(await enrolHost({ url, pin }, key, name, options.data));
  return { controller: url, pin, name, keys: new HostKeys(null, key, null) };
}
