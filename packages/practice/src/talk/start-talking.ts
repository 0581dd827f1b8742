import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { Fault } from "@dyetrace/wire";
import type { PracticeHost } from "../host/practice-host.ts";
import { requireTool } from "../host/require-tool.ts";
import { runStepsTogether } from "../host/run-steps.ts";
import { inside, nft } from "../host/step.ts";
import { DEVICE_USER, type DeviceSecret, makeDeviceSecret, type PracticeDevice } from "./device-secret.ts";
import { countingRules, folderOf, lldpdText, RELAY, RELAY_FILE, snmpdText, TREE_NAMES } from "./talker-files.ts";
import type { Talker } from "./talkers.ts";

const PROGRAM = fileURLToPath(new URL("./serve-tables.js", import.meta.url));
const TALKERS_FILE = "/run/talk/talkers.json";
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
 * answers.
 * @throws {Fault} PRACTICE_FAILED
 */
export async function startTalking(host: PracticeHost, talkers: readonly Talker[]): Promise<readonly PracticeDevice[]> {
  if (talkers.length === 0) return [];
  const secret = makeDeviceSecret();
  await layFiles(host, talkers, secret);
  await startTables(host);
  await runStepsTogether(
    host,
    talkers.map((talker) => nft(talker.name, countingRules(talker))),
  );
  await Promise.all(talkers.map((talker) => startTalker(host, talker)));
  return talkers.map(({ name, management }) => ({ node: name, address: management, user: DEVICE_USER, ...secret }));
}

async function layFiles(host: PracticeHost, talkers: readonly Talker[], secret: DeviceSecret): Promise<void> {
  const folders = talkers.map(({ name }) => folderOf(name));
  const pipes = folders.flatMap((folder) =>
    TREE_NAMES.flatMap((tree) => [`${folder}/${tree}.questions`, `${folder}/${tree}.answers`]),
  );
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

async function startTables(host: PracticeHost): Promise<void> {
  const words: string[] = [];
  let onReady = (): void => {};
  const ready = new Promise<"ready">((resolve) => {
    onReady = () => resolve("ready");
  });
  const onLine = (line: string): void => (line === "ready" ? onReady() : void words.push(line));
  const program = await host.spawn([process.execPath, PROGRAM, TALKERS_FILE], { onLine });
  if ((await Promise.race([ready, program.exit])) !== "ready") throw failed("the program for the tables", words);
}

async function startTalker(host: PracticeHost, { name }: Talker): Promise<void> {
  const folder = folderOf(name);
  // It would read every file of a folder as a MIB, pipes as well.
  const env = { SNMP_PERSISTENT_DIR: `${folder}/state`, MIBS: "", MIBDIRS: "/nonexistent" };
  const agentx = `${folder}/agentx`;
  await start(host, `snmpd of "${name}"`, inside(name, ["snmpd", "-f", "-Lo", "-C", "-c", `${folder}/snmpd.conf`]), {
    env,
    socket: agentx,
  });
  const socket = `${folder}/lldpd.socket`;
  const argv = ["lldpd", "-d", "-x", "-X", agentx, "-u", socket, "-p", `${folder}/lldpd.pid`];
  await start(host, `lldpd of "${name}"`, inside(name, [...argv, "-C", "mgmt0", "-O", `${folder}/lldpd.conf`]), {
    env,
    socket,
  });
}

interface Started {
  readonly env: Readonly<Record<string, string>>;
  /** Where it listens once it works. */
  readonly socket: string;
}

async function start(
  host: PracticeHost,
  what: string,
  argv: readonly string[],
  { env, socket }: Started,
): Promise<void> {
  const words: string[] = [];
  const program = await host.spawn(argv, { env, onLine: (line) => words.push(line) });
  let hasEnded = false;
  void program.exit.then(() => {
    hasEnded = true;
  });
  for (const giveUpAt = performance.now() + READY_WITHIN_MS; ; await sleep(POLL_MS)) {
    if ((await host.run(["test", "-S", socket])).code === 0) return;
    if (hasEnded || performance.now() > giveUpAt) throw failed(what, words);
  }
}

async function must(host: PracticeHost, argv: readonly string[], stdin = ""): Promise<void> {
  const { code, stderr } = await host.run(argv, stdin);
  if (code !== 0) throw failed(argv[0] ?? "", [stderr]);
}

const failed = (what: string, words: readonly string[]): Fault =>
  new Fault(
    "PRACTICE_FAILED",
    `A switch of the practice site can't talk: ${what} said: ${words.slice(-3).join(" ").trim()}`,
    "",
  );
