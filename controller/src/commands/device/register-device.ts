import { Fault } from "@dyetrace/wire";
import type { DeviceAccess } from "@dyetrace/wire/devices/device-access";
import { SNMP_PORT, V2C_CAUTION } from "@dyetrace/wire/devices/snmp-words";
import { type Command, Option } from "commander";
import { renderDevices, renderReading } from "../../report/devices/terminal-devices.ts";
import { readLines, readPassword } from "../arguments/read-password.ts";
import { readUserFile } from "../arguments/read-user-file.ts";
import { writeUserFile } from "../arguments/write-user-file.ts";
import { type AskOptions, clientOf, withAskOptions } from "../client/ask-options.ts";

interface AddOptions extends AskOptions {
  readonly address: string;
  readonly port: number;
  readonly v3User?: string;
  readonly auth: "sha" | "sha224" | "sha256" | "sha384" | "sha512";
  readonly secretsFile?: string;
  readonly community?: string | true;
  readonly communityFile?: string;
  readonly json?: string | true;
}
interface JsonOptions extends AskOptions {
  readonly json?: string | true;
}

const LEAST_LETTERS = 8;
const AUTH = ["sha", "sha224", "sha256", "sha384", "sha512"] as const;

/** `dyetrace device`: switches, routers and access points that the controller may read. */
export function registerDevice(program: Command): void {
  const device = program
    .command("device")
    .description("Switches and routers that the controller reads, by SNMP; nothing is ever written to them.");
  withAskOptions(
    device
      .command("add")
      .description("Let the controller read a device. Its secrets are asked for, or read from a file.")
      .argument("<node>", "its name in the site plan")
      .requiredOption("--address <address>", "where it is managed: an IPv4 or IPv6 address")
      .addOption(new Option("--port <port>", "its UDP port").argParser(portOf).default(SNMP_PORT))
      .option("--v3-user <user>", "SNMPv3, which proves both sides and is encrypted: the user's name there")
      .addOption(new Option("--auth <hash>", "how that user signs").choices(AUTH).default("sha256"))
      .option("--secrets-file <file>", "that user's two passwords, a line each: for signing, then for encryption (AES)")
      .option("--community [nothing]", "SNMPv2c, in clear, for devices that know nothing better; it is asked for")
      .option("--community-file <file>", "the same, with the community on the file's first line")
      .option("--json [file]", "what is kept of it but its secrets, to a file or to standard output"),
  ).action(async (node: string, options: AddOptions) => {
    const access = await accessOf(options);
    if (access.version === "2c") process.stderr.write(`Caution: ${V2C_CAUTION}.\n`);
    const { address, port } = options;
    const entry = await clientOf(options).ask("addDevice", { body: { node, address, port, access } });
    if (options.json !== undefined) say(options.json, entry, () => "");
    process.stderr.write(
      `The controller may read ${node} now; \`dyetrace device read ${node}\` shows whether it can.\n`,
    );
  });
  withAskOptions(
    device
      .command("list")
      .description("Devices that the controller reads.")
      .option("--json [file]", "as JSON, to a file or to standard output"),
  ).action(async (options: JsonOptions) => {
    const list = await clientOf(options).ask("listDevices");
    say(options.json, list, () => renderDevices(list));
  });
  withAskOptions(
    device
      .command("remove")
      .description("Forget a device and its secrets.")
      .argument("<node>")
      .option("--json [file]", "the same as JSON, to a file or to standard output"),
  ).action(async (node: string, options: JsonOptions) => {
    await clientOf(options).ask("removeDevice", { path: { node } });
    say(options.json, { removed: node }, () => `The controller no longer reads ${node}, and has forgotten how.\n`);
  });
  withAskOptions(
    device
      .command("read")
      .description("Read a device now: ports, neighbours, tables. Exit 1 where it could not be read.")
      .argument("<node>")
      .option("--json [file]", "everything that was read, to a file or to standard output"),
  ).action(async (node: string, options: JsonOptions) => {
    const reading = await clientOf(options).ask("readDevice", { path: { node } });
    say(options.json, reading, () => renderReading(reading));
    if (reading.ports === null) process.exitCode = 1;
  });
}

function say(json: string | true | undefined, value: object, render: () => string): void {
  if (json === undefined) process.stdout.write(render());
  else writeUserFile(json === true ? "-" : json, `${JSON.stringify(value, null, 2)}\n`);
}

function portOf(text: string): number {
  const port = Number(text);
  if (!Number.isInteger(port) || port < 1 || port > 65_535) {
    throw new Fault("OPTION_INVALID", `--port ${text} is no port`, "1 to 65535");
  }
  return port;
}

/** @throws {Fault} OPTION_INVALID, FILE_UNREADABLE */
async function accessOf(options: AddOptions): Promise<DeviceAccess> {
  const { v3User, auth, secretsFile, community, communityFile } = options;
  if (typeof community === "string") {
    const message = "A community is a secret, and everybody on this machine can read a command's arguments";
    throw new Fault("OPTION_INVALID", message, "Give --community alone, and it is asked for, or --community-file FILE");
  }
  const isV2c = community !== undefined || communityFile !== undefined;
  if ((v3User === undefined) === !isV2c) {
    throw new Fault("OPTION_INVALID", "It is not said how the device is read", "Give --v3-user, or else --community");
  }
  if (v3User !== undefined) {
    const [authPassword = "", privacyPassword = ""] =
      secretsFile === undefined ? await askBoth() : linesOf(secretsFile, 2, "the two passwords, a line each");
    for (const [what, password] of [
      ["signing", authPassword],
      ["encryption", privacyPassword],
    ] as const) {
      if (password.length >= LEAST_LETTERS) continue;
      const message = `The password for ${what} is shorter than ${LEAST_LETTERS} characters`;
      throw new Fault("OPTION_INVALID", message, "SNMPv3 takes none so short (RFC 3414, section 11.2)");
    }
    return { version: "3", user: v3User, auth, authPassword, privacy: "aes", privacyPassword };
  }
  if (communityFile !== undefined) {
    return { version: "2c", community: linesOf(communityFile, 1, "the community")[0] ?? "" };
  }
  return { version: "2c", community: await readPassword("Community: ") };
}

/** On a terminal one after the other; otherwise the first two lines of standard input. */
async function askBoth(): Promise<readonly string[]> {
  if (!process.stdin.isTTY) return (await readLines()).slice(0, 2);
  const first = await readPassword("Password for signing: ");
  return [first, await readPassword("Password for encryption: ")];
}

function linesOf(file: string, count: number, what: string): readonly string[] {
  const lines = readUserFile(file).toString("utf8").split(/\r?\n/).slice(0, count);
  if (lines.length === count && lines.every((line) => line !== "")) return lines;
  throw new Fault("OPTION_INVALID", `${file} does not hold ${what}`, "Write nothing else before them");
}
