import { randomBytes } from "node:crypto";
import { existsSync, mkdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { Fault, parseDurationNs } from "@dyetrace/wire";
import type { Command } from "commander";
import { pino } from "pino";
import { isLoopbackName } from "../about/loopback.ts";
import { ownTlsIdentity, readTlsIdentity, type TlsIdentity } from "../access/tls-identity.ts";
import { writeWhole } from "../files/write-whole.ts";
import type { Retention } from "../store/retention.ts";
import { openStore } from "../store/store.ts";
import { parseListen } from "./arguments/parse-listen.ts";
import { cautionOfPassword, storePlace } from "./arguments/store-place.ts";
import { untilInterrupted } from "./arguments/until-interrupted.ts";
import { noteDeed, withBook } from "./with-book.ts";

export function registerController(program: Command): void {
  program
    .command("controller")
    .description("The service that agents connect to and that conducts runs.")
    .option("--data <folder>", "where the key and the runs are kept", "dyetrace-data")
    .option("--store <url>", "keep the runs in this PostgreSQL database instead: postgres://user@host/name")
    .option("--store-file <file>", "the same, with the address in a file that only its user can read")
    .option("--listen <address>", "where it answers", "127.0.0.1:8472")
    .option(
      "--address <url>",
      "how hosts reach it, such as https://192.0.2.1:8472: of several controllers on one database, hosts that enrol are told all (default: what --listen says, unless that is every address or this machine alone)",
    )
    .option("--certificate <file>", "PEM file of your own TLS certificate (default: one made at the first start)")
    .option("--certificate-key <file>", "PEM file of its key")
    .option("--sign-in", "operators sign in although it answers on this machine alone; needs nothing else")
    .option("--keep-detail <time>", "keep every second of a run for this long, then stretches of 10 s", "15 min")
    .option("--keep-stretches <time>", "keep stretches of 10 s until this age, then of a minute", "2 h")
    .option(
      "--keep-runs <time>",
      "delete finished runs after this, unless a baseline names them; `all` keeps them",
      "90 d",
    )
    .option(
      "--agent-credentials <time>",
      "a host's credential lasts this long, and is renewed from half of it on while the host is connected",
      "90 d",
    )
    .action(async (options: ControllerOptions) => {
      const retention = readRetention(options);
      const listen = parseListen(options.listen);
      const isLocal = isLoopbackName(listen.host);
      const isSignInNeeded = !isLocal || options.signIn === true;
      const tls = await findIdentity(options, isLocal);
      const agentKey = isSignInNeeded ? null : readOrMakeKey(options.data);
      const address = addressOf(options.address, listen, tls !== null);
      const caution = cautionOfPassword(options);
      if (caution !== null) process.stderr.write(`${caution}\n`);
      await using store = await openStore(storePlace(options));
      using interrupt = untilInterrupted();
      const { startController } = await import("../service/controller-service.ts");
      await using controller = await startController({
        ...listen,
        ...(agentKey === null ? {} : { agentKey }),
        ...(tls === null ? {} : { tls }),
        ...(address === null ? {} : { address }),
        isSignInNeeded,
        dataFolder: options.data,
        store,
        retention,
        credentialLastsMs: readCredentialTime(options.agentCredentials),
        log: pino({ level: process.env["DYETRACE_LOG"] ?? "info" }, pino.destination(2)),
      });
      const hasOperators = await withBook(options, true, ({ records }) => records.operators.length > 0);
      const lines = greeting({ url: controller.url, agentKey, tls, hasOperators, data: options.data });
      const isUnknown = address === null && !store.isPrivate;
      process.stdout.write(`${[...lines, ...(isUnknown ? [WITHOUT_ADDRESS] : [])].join("\n")}\n`);
      noteDeed(options.data, `started the controller at ${controller.url}`);
      await interrupt.pressed;
      noteDeed(options.data, "ended the controller");
    });
}

interface ControllerOptions {
  readonly data: string;
  readonly listen: string;
  readonly address?: string;
  readonly store?: string;
  readonly storeFile?: string;
  readonly certificate?: string;
  readonly certificateKey?: string;
  readonly signIn?: true;
  readonly keepDetail: string;
  readonly keepStretches: string;
  readonly keepRuns: string;
  readonly agentCredentials: string;
}

const LEAST_CREDENTIAL_NS = 60e9;
const MOST_CREDENTIAL_NS = 10 * 365 * 24 * 3600e9;

/** @returns ms @throws {Fault} UNIT_INVALID, OPTION_INVALID */
function readCredentialTime(text: string): number {
  const lastsNs = parseDurationNs(text);
  if (lastsNs >= LEAST_CREDENTIAL_NS && lastsNs <= MOST_CREDENTIAL_NS) return lastsNs / 1e6;
  throw new Fault(
    "OPTION_INVALID",
    `--agent-credentials ${text} is not between a minute and ten years`,
    "A host that is switched off for longer than it says has to be enrolled again",
  );
}

/** The user's own certificate; off this machine one of our own without it; on it none. @throws {Fault} */
async function findIdentity(options: ControllerOptions, isLocal: boolean): Promise<TlsIdentity | null> {
  const { certificate, certificateKey, data } = options;
  if (certificate !== undefined && certificateKey !== undefined) return readTlsIdentity(certificate, certificateKey);
  if (certificate !== undefined || certificateKey !== undefined) {
    throw new Fault("OPTION_INVALID", "A certificate and its key belong together", "Give both, or neither");
  }
  return isLocal ? null : ownTlsIdentity(data);
}

const WITHOUT_ADDRESS =
  "Other controllers of this database cannot tell hosts of this one: give --address URL, as hosts reach it.";

/** Null: nobody knows. @throws {Fault} OPTION_INVALID */
export function addressOf(
  address: string | undefined,
  { host, port }: { readonly host: string; readonly port: number },
  hasTls: boolean,
): string | null {
  if (address !== undefined) {
    const url = URL.canParse(address) ? new URL(address) : null;
    if (url !== null && /^https?:$/.test(url.protocol) && url.pathname === "/" && url.search + url.hash === "")
      return url.origin;
    throw new Fault("OPTION_INVALID", `--address ${address} is no address of a controller`, "Write https://HOST:PORT");
  }
  if (isLoopbackName(host) || host === "0.0.0.0" || host === "::" || port === 0) return null;
  return `${hasTls ? "https" : "http"}://${host.includes(":") ? `[${host}]` : host}:${port}`;
}

interface Greeting {
  readonly url: string;
  readonly agentKey: string | null;
  readonly tls: TlsIdentity | null;
  readonly hasOperators: boolean;
  readonly data: string;
}

/** What whoever starts it should know: where it is, who gets in, and how the first agent comes. */
function greeting({ url, agentKey, tls, hasOperators, data }: Greeting): readonly string[] {
  if (agentKey !== null) {
    return [
      `The controller answers at ${url}.`,
      "It answers on this machine alone, so nobody needs to sign in: whoever may run programs here may operate it.",
      "Start an agent on each host of the site plan:",
      `  npx dyetrace-agent run --controller ${url} --key ${agentKey} --interface NAME`,
    ];
  }
  const folder = data === "dyetrace-data" ? "" : ` --data ${data}`;
  return [
    `The controller answers at ${url}.`,
    ...(tls === null ? [] : [`Its certificate's fingerprint is ${tls.fingerprint}`, `  and as a pin ${tls.pin}`]),
    hasOperators
      ? "Operators sign in there; the page of agents has the line that brings a host in."
      : `Nobody can sign in yet: make the first operator with \`npx dyetrace operator add NAME --role operate${folder}\`.`,
  ];
}

/** @throws {Fault} UNIT_INVALID, OPTION_INVALID */
function readRetention({ keepDetail, keepStretches, keepRuns }: ControllerOptions): Retention {
  const fullDetailNs = parseDurationNs(keepDetail);
  const tenSecondsNs = parseDurationNs(keepStretches);
  if (tenSecondsNs < fullDetailNs) {
    throw new Fault(
      "OPTION_INVALID",
      `--keep-stretches ${keepStretches} is shorter than --keep-detail ${keepDetail}`,
      "What is no longer kept by the second is kept in stretches of 10 s first",
    );
  }
  return { fullDetailNs, tenSecondsNs, runsNs: keepRuns === "all" ? null : parseDurationNs(keepRuns) };
}

/** The key that agents present: made at the first start, readable by its owner alone. @throws {Fault} FILE_UNREADABLE */
function readOrMakeKey(folder: string): string {
  const file = path.join(folder, "agent-key");
  try {
    if (existsSync(file)) return readFileSync(file, "utf8").trim();
    mkdirSync(folder, { recursive: true, mode: 0o700 });
    const key = randomBytes(16).toString("hex");
    writeWhole(file, `${key}\n`, { mode: 0o600 });
    return key;
  } catch (cause) {
    const { code } = cause as NodeJS.ErrnoException;
    throw new Fault(
      "FILE_UNREADABLE",
      `Cannot keep the agents' key in ${file}: ${code}`,
      "Name another folder with --data",
      { cause },
    );
  }
}
