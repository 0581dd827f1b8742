/**
 * Makes a fresh clone ready: npm packages, the build, and on Debian as root the few programs that the practice site
 * needs. Node built-ins alone, because nothing is installed yet. Whatever can't be had is said in one sentence: what
 * is missing, what is lost by it, and the command that brings it.
 */
import { execFile } from "node:child_process";
import {
  existsSync,
  mkdtempSync,
  readdirSync,
  realpathSync,
  rmSync,
  statSync,
  symlinkSync,
  writeFileSync,
} from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";

export const root = path.dirname(path.dirname(fileURLToPath(import.meta.url)));

/** Programs by the Debian package that brings them, and what is lost without. */
const PRACTICE_TOOLS = [
  { program: "ip", package: "iproute2", lost: "there is no practice site" },
  { program: "bridge", package: "iproute2", lost: "there is no practice site" },
  {
    program: "tc",
    package: "iproute2",
    lost: "the practice site can't limit a rate",
  },
  {
    program: "nft",
    package: "nftables",
    lost: "the practice site can't put faults in",
  },
  {
    program: "unshare",
    package: "util-linux",
    lost: "there is no practice site",
  },
  {
    program: "nsenter",
    package: "util-linux",
    lost: "`dyetrace practice exec` can't enter a practice site",
  },
  {
    program: "sysctl",
    package: "procps",
    lost: "the practice site can't set a host's network options",
  },
  {
    program: "lldpd",
    package: "lldpd",
    service: "lldpd",
    lost: "the practice site's switches can't announce themselves (--switches-talk)",
  },
  {
    program: "snmpd",
    package: "snmpd",
    service: "snmpd",
    lost: "the practice site's switches can't be asked for their tables (--switches-talk)",
  },
];

/** Debian keeps the programs of a PostgreSQL server out of everybody's PATH, in a folder for each version. */
const POSTGRES_FOLDER = "/usr/lib/postgresql";
const postgresFolders = () =>
  existsSync(POSTGRES_FOLDER)
    ? readdirSync(POSTGRES_FOLDER).map((version) => path.join(POSTGRES_FOLDER, version, "bin"))
    : [];

/** What only the tests need. */
const TEST_TOOLS = [
  {
    program: "initdb",
    package: "postgresql",
    folders: postgresFolders,
    lost: "the store can't be tested on PostgreSQL",
  },
  { program: "chromium", package: "chromium", lost: "the console can't be tested in a browser" },
  {
    program: "pimd",
    package: "frr",
    folders: () => ["/usr/lib/frr"],
    lost: "PIM sparse mode between the routers of a practice site can't be tested",
  },
  { program: "scapy3", package: "python3-scapy", lost: "what is read of captures can't be held to another reader" },
  { program: "ffmpeg", package: "ffmpeg", lost: "streams that flow already can't be tested with real media" },
  { program: "curl", package: "curl", lost: "the line that brings an agent in can't be tested" },
  { program: "systemd-analyze", package: "systemd", lost: "how far the units are confined can't be tested" },
];

export class BootstrapError extends Error {}

const say = (text) => process.stderr.write(`${text}\n`);

/** @throws {BootstrapError} with the line that says why; all that the command printed is in a file then */
async function run(command, args, what, env = process.env) {
  try {
    await promisify(execFile)(command, args, { cwd: root, env, maxBuffer: 64 * 1024 * 1024 });
  } catch (error) {
    const output = `${error.stdout ?? ""}${error.stderr ?? ""}`.trimEnd() || error.message;
    const log = path.join(mkdtempSync(path.join(tmpdir(), "dyetrace-setup-")), "log");
    writeFileSync(log, `${command} ${args.join(" ")}\n${output}\n`);
    const lines = output.split("\n").filter((line) => line.trim() !== "");
    const why = lines.find((line) => /\berror\b.*\S{3}/i.test(line)) ?? lines.at(-1) ?? "it said nothing";
    throw new BootstrapError(`${what} failed: ${why.trim()}\nEverything that it printed is in ${log}`);
  }
}

/** /usr/sbin is where Debian keeps these programs, and a plain user's PATH often lacks it. */
function widenPath() {
  const folders = new Set([...(process.env.PATH ?? "").split(path.delimiter), "/usr/local/sbin", "/usr/sbin", "/sbin"]);
  process.env.PATH = [...folders].filter((folder) => folder !== "").join(path.delimiter);
}

const isOnPath = (program, folders = []) =>
  [...(process.env.PATH ?? "").split(path.delimiter), ...folders].some((folder) =>
    existsSync(path.join(folder, program)),
  );

const isThere = (tool) => isOnPath(tool.program, tool.folders?.() ?? []);

const [nodeMajor = 0, nodeMinor = 0] = process.versions.node.split(".").map(Number);
/** The same as `hasBuiltInSqlite` in controller/src/sqlite, which is not built yet here; a test holds them to each other. */
export const needsCompiledSqlite = (major = nodeMajor, minor = nodeMinor) =>
  !(major >= 24 || (major === 22 && minor >= 16));
const SQLITE = path.join(root, "node_modules", "better-sqlite3");
const SQLITE_BINARY = path.join(SQLITE, "build", "Release", "better_sqlite3.node");
/** Where this Node.js has its headers, or would have them. */
const nodeFolder = () => path.dirname(path.dirname(realpathSync(process.execPath)));

/** Before anything is downloaded: what this Node.js cannot do without. @throws {BootstrapError} in one line */
function ensureNode() {
  const version = process.versions.node;
  if (nodeMajor < 20) {
    throw new BootstrapError(`dyetrace needs Node.js 20 or later, best 22.16 or later; this is ${version}.`);
  }
  if (!needsCompiledSqlite() || existsSync(SQLITE_BINARY)) return;
  const lacking = [
    ...["c++", "make", "python3"].filter((program) => !isOnPath(program)),
    ...(existsSync(path.join(nodeFolder(), "include", "node", "node.h")) ? [] : ["Node's headers"]),
  ];
  if (lacking.length === 0) return;
  const headers = lacking.includes("Node's headers") ? " libnode-dev" : "";
  throw new BootstrapError(
    `Node.js ${version} has no SQLite that dyetrace can use, and to compile one ${lacking.join(", ")} ` +
      `${lacking.length === 1 ? "is" : "are"} missing: sudo apt-get install build-essential python3${headers} ` +
      "(or take Node.js 22.16 or later, which needs no compiler)",
  );
}

async function ensureNpmPackages() {
  const lock = path.join(root, "package-lock.json");
  const installed = path.join(root, "node_modules", ".package-lock.json");
  if (existsSync(installed) && statSync(installed).mtimeMs >= statSync(lock).mtimeMs) return;
  say("Installing npm packages (npm ci), once ...");
  await run("npm", ["ci", "--no-audit", "--no-fund"], "Installing the npm packages");
}

/**
 * The embedded database where Node.js has none of its own. Its package's install script would fetch a binary from outside the npm
 * registry. `.npmrc` keeps every package's script from running; here its source, which came from the registry, is compiled
 * with this Node's headers.
 */
async function ensureSqlite() {
  if (!needsCompiledSqlite() || existsSync(SQLITE_BINARY)) return;
  say("Compiling better-sqlite3, once ...");
  const env = {
    ...process.env,
    npm_config_build_from_source: "true",
    npm_config_nodedir: nodeFolder(),
    npm_config_jobs: "max",
  };
  await run("npm", ["rebuild", "better-sqlite3", "--ignore-scripts=false"], "Compiling better-sqlite3", env);
}

/** @param {boolean} isChecked types are checked as well, which takes six times as long as writing the programs */
async function ensureBuild(isChecked) {
  const tsc = path.join(path.dirname(createRequire(import.meta.url).resolve("typescript/package.json")), "bin", "tsc");
  if (!existsSync(path.join(root, "controller", "dist", "main.js"))) say("Building, once ...");
  await run(process.execPath, [tsc, "-b", ...(isChecked ? [] : ["--noCheck"])], "The build");
  await run(process.execPath, [path.join(root, "deploy", "bundle-schema.mjs")], "Bundling the schema library");
  await run(process.execPath, [path.join(root, "deploy", "bundle-agent.mjs")], "Bundling the agent");
  await run(process.execPath, [path.join(root, "deploy", "bundle-controller.mjs")], "Bundling the controller");
  await ensureConsole();
}

/** The web console: built again only where something it is made of is newer than what was built. */
async function ensureConsole() {
  const folder = path.join(root, "packages", "console");
  const built = path.join(folder, "dist", "page", "index.html");
  const made = [folder, path.join(root, "packages", "wire", "src"), path.join(root, "packages", "site", "src")];
  const sources = made.flatMap((part) => readdirSync(part, { recursive: true }).map((name) => path.join(part, name)));
  const isBuilt = (file) => file.startsWith(path.join(folder, "dist"));
  const newestMs = Math.max(...sources.filter((file) => !isBuilt(file)).map((file) => statSync(file).mtimeMs));
  if (existsSync(built) && statSync(built).mtimeMs >= newestMs) return;
  const vite = path.join(path.dirname(createRequire(built).resolve("vite/package.json")), "bin", "vite.js");
  await run(process.execPath, [vite, "build", folder], "Building the console");
}

const mayInstall = () => process.getuid?.() === 0 && isOnPath("apt-get");
const lackOf = (tool) =>
  `\`${tool.program}\` is missing, so ${tool.lost}; on Debian: sudo apt-get install ${tool.package}`;

/** Before anything is downloaded. @param {{program: string, package: string, lost: string, folders?: () => string[]}[]} tools */
function tellLacking(tools) {
  if (mayInstall()) return;
  for (const tool of tools) if (!isThere(tool)) say(lackOf(tool));
}

/** @returns {Promise<string[]>} a sentence for the user about each that could not be installed */
async function ensureTools(tools) {
  const missing = tools.filter((tool) => !isThere(tool));
  const packages = [...new Set(missing.map((tool) => tool.package))];
  if (packages.length === 0 || !mayInstall()) return [];
  say(`Installing Debian packages: ${packages.join(", ")} ...`);
  const services = missing.flatMap((tool) => tool.service ?? []);
  await withoutServices(services, () => installDebianPackages(packages));
  return tools.filter((tool) => !isThere(tool)).map(lackOf);
}

const UNITS = "/etc/systemd/system";
const POLICY = "/usr/sbin/policy-rc.d";

/**
 * Practice sites start these programs inside their own networks; on this machine's own network nothing may announce or answer
 * because of them. So their services are masked before Debian's package would start them, now and at the next start of the
 * machine. A service that somebody has set up already is left alone: its program is not missing then.
 */
async function withoutServices(services, install) {
  const masks = services.map((name) => path.join(UNITS, `${name}.service`)).filter((unit) => !existsSync(unit));
  if (existsSync(UNITS)) for (const unit of masks) symlinkSync("/dev/null", unit);
  const isPolicyOurs = services.length > 0 && !existsSync(POLICY);
  // For machines without systemd: asked before a package starts anything (invoke-rc.d(8)); 101 is "not allowed".
  if (isPolicyOurs) writeFileSync(POLICY, "#!/bin/sh\nexit 101\n", { mode: 0o755 });
  try {
    await install();
  } finally {
    if (isPolicyOurs) rmSync(POLICY, { force: true });
  }
  if (services.length > 0) {
    const names = services.join(" and ");
    say(`The services of ${names} are masked: nothing runs outside practice sites. To run one: systemctl unmask NAME`);
  }
}

/** What can't be installed is told by whoever looks for its program. */
async function installDebianPackages(packages) {
  const env = { ...process.env, DEBIAN_FRONTEND: "noninteractive" };
  const apt = (...args) =>
    promisify(execFile)("apt-get", args, { env, maxBuffer: 64 * 1024 * 1024 }).then(
      () => true,
      () => false,
    );
  const install = () => apt("install", "-y", "--no-install-recommends", ...packages);
  if (await install()) return;
  await apt("update");
  await install();
}

/** Waits for all, whatever becomes of them, so that nothing is at work any more when a failure is told. */
async function together(...works) {
  const ended = await Promise.allSettled(works);
  for (const { status, reason } of ended) if (status === "rejected") throw reason;
  return ended.map(({ value }) => value);
}

/** Said by the test that needs them, where they can't be had. */
const fetchOtherNodes = () =>
  promisify(execFile)(process.execPath, [path.join(root, "deploy", "node-binary.mjs")], { cwd: root }).catch(() => {});

/**
 * Side by side what needs no other: the compiler of SQLite alone keeps one core busy for most of a minute.
 * @param {{ fetch?: () => Promise<void>, check?: () => Promise<void> }} more what has time until then: `fetch` needs the npm
 *   packages, `check` the build
 */
async function prepareWith(tools, isChecked, { fetch = async () => {}, check = async () => {} } = {}) {
  widenPath();
  ensureNode();
  const wanted = process.platform === "linux" ? tools : [];
  tellLacking(wanted);
  const build = async () => {
    await ensureBuild(isChecked);
    await check();
  };
  const packages = async () => {
    await ensureNpmPackages();
    await together(ensureSqlite(), build(), fetch());
  };
  const [lacking] = await together(ensureTools(wanted), packages());
  return lacking;
}

/** Everything that `npm start` needs. @returns {Promise<string[]>} sentences about what could not be installed */
export const prepare = () => prepareWith(PRACTICE_TOOLS, false);

/**
 * Everything that `npm test` needs. @returns {Promise<string[]>} sentences about what could not be installed
 * @param {() => Promise<void>} check what needs the build alone
 */
export const prepareForTests = (check) =>
  prepareWith([...PRACTICE_TOOLS, ...TEST_TOOLS], true, { fetch: fetchOtherNodes, check });
