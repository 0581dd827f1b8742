import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { Fault } from "@dyetrace/wire";
import type { PracticeHost } from "../host/practice-host.ts";
import { requireTool } from "../host/require-tool.ts";
import { runStepsTogether } from "../host/run-steps.ts";
import { inside, nft } from "../host/step.ts";
import { DEVICE_USER, type DeviceSecret, makeDeviceSecret, type PracticeDevice } from "./device-secret.ts";
import { KeptProgram } from "./kept-program.ts";
import { countingRules, folderOf, lldpdText, RELAY, RELAY_FILE, snmpdText, TREE_NAMES } from "./talker-files.ts";
import type { Talker } from "./talkers.ts";

const PROGRAM = fileURLToPath(new URL("./serve-tables.js", import.meta.url));
const TALKERS_FILE = "/run/talk/talkers.json";
/** What that program says before a switch's name. */
const LOST = "lost ";
const POLL_MS = 50;
const READY_WITHIN_MS = 20_000;

/** What the programs need is told before anything is built. @throws {Fault} NEEDS_TOOL, NEEDS_PRIVILEGE */
export function requireTalkers(): void {
  for (const tool of ["snmpd", "lldpd", "lldpcli", "nft"] as const) requireTool(tool);
  if (process.getuid?.() === 0) return;
  throw new Fault(
    "NEEDS_PRIVILEGE",
    "Switches that talk need root: the program that announces them changes to a user of its own",
    "Run it as root, or leave out --switches-talk",
  );
}

/**
 * Starts Debian's `snmpd` and `lldpd` in the namespace of each talker, and one program for the tables of all; waits until each
 * works, and from then on starts again what ends or has lost the others.
 * @throws {Fault} PRACTICE_FAILED
 */
export async function startTalking(host: PracticeHost, talkers: readonly Talker[]): Promise<readonly PracticeDevice[]> {
  if (talkers.length === 0) return [];
  const secret = makeDeviceSecret();
  await layFiles(host, talkers, secret);
  const lldpds = new Map<string, KeptProgram>();
  await startTables(host, (name) => lldpds.get(name)?.restart());
  await runStepsTogether(
    host,
    talkers.map((talker) => nft(talker.name, countingRules(talker))),
  );
  await Promise.all(
    talkers.map(async (talker) => {
      lldpds.set(talker.name, await startTalker(host, talker));
    }),
  );
  return talkers.map(({ name, management }) => ({ node: name, address: management, user: DEVICE_USER, ...secret }));
}

async function layFiles(host: PracticeHost, talkers: readonly Talker[], secret: DeviceSecret): Promise<void> {
  const folders = talkers.map(({ name }) => folderOf(name));
  const pipes = folders.flatMap((folder) => TREE_NAMES.map((tree) => `${folder}/${tree}.questions`));
  // `lldpd` shuts its talking half into /run/lldpd, as a user of its own that reads its settings and reaches its socket here.
  await must(host, ["mkdir", "-p", "-m", "0755", "/run/lldpd", "/run/talk", ...folders]);
  await must(host, ["mkfifo", "-m", "0600", ...pipes]);
  const files: (readonly [string, string])[] = [
    [RELAY_FILE, RELAY],
    [TALKERS_FILE, JSON.stringify(talkers)],
    ...talkers.flatMap((talker): (readonly [string, string])[] => [
      [`${folderOf(talker.name)}/snmpd.conf`, snmpdText(talker, secret)],
      [`${folderOf(talker.name)}/lldpd.conf`, lldpdText(talker)],
    ]),
  ];
  // By standard input: what stands in a process's arguments can be read by everybody.
  for (const [file, text] of files) {
    const mask = file.endsWith("/snmpd.conf") ? "077" : "022"; // that one holds the secrets
    await must(host, ["sh", "-c", `umask ${mask}; cat > "$0"`, file], text);
  }
}

/** @param onLost called with the name of a switch whose `snmpd` does not answer for its `lldpd` */
async function startTables(host: PracticeHost, onLost: (name: string) => void): Promise<void> {
  let isReady = false;
  const program = new KeptProgram(host, [process.execPath, PROGRAM, TALKERS_FILE], {}, (line) => {
    if (line === "ready") isReady = true;
    else if (line.startsWith(LOST)) onLost(line.slice(LOST.length));
  });
  await program.start();
  await working("the program for the tables", program, () => isReady);
}

/** @returns its `lldpd` */
async function startTalker(host: PracticeHost, { name }: Talker): Promise<KeptProgram> {
  const folder = folderOf(name);
  // It would read every file of a folder as a MIB, pipes as well.
  const env = { SNMP_PERSISTENT_DIR: `${folder}/state`, MIBS: "", MIBDIRS: "/nonexistent" };
  const kept = (argv: readonly string[]): KeptProgram => new KeptProgram(host, inside(name, argv), env);
  const agentx = `${folder}/agentx`;
  const snmpd = kept(["snmpd", "-f", "-Lo", "-C", "-c", `${folder}/snmpd.conf`]);
  await snmpd.start();
  await working(`snmpd of "${name}"`, snmpd, () => isSocket(host, agentx));
  const socket = `${folder}/lldpd.socket`;
  const argv = ["lldpd", "-d", "-x", "-X", agentx, "-u", socket, "-p", `${folder}/lldpd.pid`];
  const lldpd = kept([...argv, "-C", "mgmt0", "-O", `${folder}/lldpd.conf`]);
  await lldpd.start();
  await working(`lldpd of "${name}"`, lldpd, () => isSocket(host, socket));
  return lldpd;
}

const isSocket = async (host: PracticeHost, file: string): Promise<boolean> =>
  (await host.run(["test", "-S", file])).code === 0;

/** Waits until a program works; one that ends at its start will not do better the next time. */
async function working(what: string, program: KeptProgram, isWorking: () => boolean | Promise<boolean>): Promise<void> {
  for (const giveUpAt = performance.now() + READY_WITHIN_MS; ; await sleep(POLL_MS)) {
    if (await isWorking()) return;
    if (program.starts > 1 || performance.now() > giveUpAt) throw failed(what, program.words);
  }
}

async function must(host: PracticeHost, argv: readonly string[], stdin = ""): Promise<void> {
  const { code, stderr } = await host.run(argv, stdin);
  if (code !== 0) throw failed(argv[0] ?? "", stderr);
}

const failed = (what: string, words: string): Fault =>
  new Fault("PRACTICE_FAILED", `A switch of the practice site can't talk: ${what} said: ${words.trim()}`, "");
