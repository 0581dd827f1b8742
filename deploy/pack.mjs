/**
 * `npm run pack`: what a site installs without this repository, in deploy/dist:
 *   dyetrace-agent, dyetrace and dyetrace-node as Debian packages for amd64 and arm64 (deploy/packages.md says which needs which),
 *   dyetrace-VERSION-linux-CPU.tar.gz, which runs where it is unpacked: no root, no registry, no network.
 *   npm run pack -- [--out FOLDER] [--arch amd64,arm64] [--build N] [--quick]
 * `--build N` makes VERSION+N; `--quick` packs loosely, for trials. The same commit gives the same bytes: times are those of the commit,
 * or SOURCE_DATE_EPOCH (reproducible-builds.org/specs/source-date-epoch).
 */
import { createHash } from "node:crypto";
import {
  chmodSync,
  cpSync,
  existsSync,
  lstatSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  rmSync,
  statSync,
  symlinkSync,
  utimesSync,
  writeFileSync,
} from "node:fs";
import path from "node:path";
import { parseArgs } from "node:util";
import { gzipSync } from "node:zlib";
import { root } from "./bootstrap.mjs";
import { nodeFolder, PACKED_MAJOR, packedNodeVersion, strippedNode } from "./node-binary.mjs";
import { copy, fetchPackage, lock, run, tarOf, unpack } from "./pack-parts.mjs";

const { values: options } = parseArgs({
  options: {
    out: { type: "string", default: path.join(root, "deploy", "dist") },
    arch: { type: "string", default: "amd64,arm64" },
    build: { type: "string" },
    quick: { type: "boolean", default: false },
  },
});
const COMMON = "/usr/share/common-licenses";
const CPU = { amd64: "x64", arm64: "arm64" };
const architectures = options.arch.split(",");
const unknown = architectures.find((one) => CPU[one] === undefined);
if (unknown !== undefined) {
  process.stderr.write(`There is no package for ${unknown}: --arch takes ${Object.keys(CPU).join(" and ")}.\n`);
  process.exit(2);
}
const out = path.resolve(options.out);
const work = path.join(out, ".work");
const read = (...parts) => readFileSync(path.join(root, ...parts), "utf8");
const ownVersion = JSON.parse(read("controller", "package.json")).version;
const version = options.build === undefined ? ownVersion : `${ownVersion}+${options.build}`;
const epochS = Number(process.env.SOURCE_DATE_EPOCH ?? run("git", ["log", "-1", "--format=%ct"], { cwd: root }));
process.env.SOURCE_DATE_EPOCH = String(epochS); // dpkg-deb takes it from here

/** What the programs here load; typed declarations, maps and the like stay behind. */
const RUNTIME = /^[^.]*$|\.([cm]?js|json|yaml|html|css|svg|png|ico|woff2?|wasm)$/;
const LIBRARY = /(^|\/)(licen[cs]e[^/]*|copying)$|\.([cm]?js|json)$/i;
const isWorkspace = (place) => lock[place]?.link === true;

/** The libraries that the programs need, by their places in package-lock.json: not those of the build, and no compiled SQLite. */
function libraries() {
  const found = new Set();
  const visit = (place, name) => {
    for (let home = place; ; home = home.slice(0, Math.max(0, home.lastIndexOf("node_modules/")))) {
      const candidate = `${home === "" || home.endsWith("/") ? home : `${home}/`}node_modules/${name}`;
      if (lock[candidate] !== undefined) return take(candidate);
      if (home === "") return;
    }
  };
  const take = (place) => {
    if (found.has(place)) return;
    found.add(place);
    const target = isWorkspace(place) ? lock[place].resolved : place;
    for (const name of Object.keys(lock[target].dependencies ?? {})) if (name !== "better-sqlite3") visit(target, name);
  };
  for (const program of ["agent", "controller"]) take(`node_modules/@dyetrace/${program}`);
  return [...found].filter((place) => !isWorkspace(place)).sort();
}

/** koffi's script, and its binary for one processor. */
function putKoffi(modules, cpu) {
  const koffi = path.join(modules, "koffi");
  copy(path.join(root, "node_modules", "koffi"), koffi, /^[^.]*$|\.([cm]?js|json)$/);
  for (const needless of ["doc", "vendor", "lib"]) rmSync(path.join(koffi, needless), { recursive: true, force: true });
  const name = `@koromix/koffi-linux-${cpu}`;
  unpack(fetchPackage(name), path.join(modules, name));
  // Debian's C library is the other one.
  for (const inside of readdirSync(path.join(modules, name))) {
    if (inside.startsWith("musl")) rmSync(path.join(modules, name, inside), { recursive: true });
  }
}

/** The agent as hosts get it from a controller, with the binaries of one processor. */
function putAgent(folder, cpu) {
  unpack(path.join(root, "deploy", "agent", "dist", "dyetrace-agent.tgz"), folder);
  rmSync(path.join(folder, "node_modules"), { recursive: true });
  rmSync(path.join(folder, "deploy"), { recursive: true });
  putKoffi(path.join(folder, "node_modules"), cpu);
}

/** The `dyetrace` program with all that it serves and starts, in the folders of this repository. */
function putController(folder, cpu) {
  for (const part of [
    "controller",
    "agent",
    ...readdirSync(path.join(root, "packages")).map((name) => `packages/${name}`),
  ]) {
    const [from, to] = [path.join(root, part), path.join(folder, part)];
    if (!existsSync(path.join(from, "package.json"))) continue;
    mkdirSync(to, { recursive: true });
    cpSync(path.join(from, "package.json"), path.join(to, "package.json"));
    for (const inside of ["bin", "dist", "scenarios", "demo", "style"]) {
      if (existsSync(path.join(from, inside))) copy(path.join(from, inside), path.join(to, inside), RUNTIME);
    }
    const { name } = JSON.parse(readFileSync(path.join(from, "package.json"), "utf8"));
    const link = path.join(folder, "node_modules", name);
    mkdirSync(path.dirname(link), { recursive: true });
    symlinkSync(path.relative(path.dirname(link), to), link);
  }
  for (const place of libraries()) {
    if (!/\/(koffi|@koromix)/.test(place)) copy(path.join(root, place), path.join(folder, place), LIBRARY);
  }
  putKoffi(path.join(folder, "node_modules"), cpu);
  mkdirSync(path.join(folder, "deploy", "agent"), { recursive: true });
  cpSync(path.join(root, "deploy", "agent", "dist"), path.join(folder, "deploy", "agent", "dist"), { recursive: true });
  for (const name of ["install.sh", "agent.yaml"])
    cpSync(path.join(root, "deploy", "agent", name), path.join(folder, "deploy", "agent", name));
}

/** Node.js without its symbols. */
function putNode(file, cpu) {
  mkdirSync(path.dirname(file), { recursive: true });
  cpSync(strippedNode(cpu), file);
}

/** Every folder, file and link inside, by its path from there; links are not followed. @returns {string[]} in order */
function everything(folder, below = "") {
  const names = readdirSync(path.join(folder, below)).sort();
  return names.flatMap((name) => {
    const inside = path.join(below, name);
    return [inside, ...(lstatSync(path.join(folder, inside)).isDirectory() ? everything(folder, inside) : [])];
  });
}
const filesIn = (folder) => everything(folder).filter((name) => lstatSync(path.join(folder, name)).isFile());

/** Everybody reads, root writes; programs may be started; all of the same time. */
function settle(folder) {
  for (const name of [...everything(folder).reverse(), ""]) {
    const file = path.join(folder, name);
    const stat = lstatSync(file);
    if (stat.isSymbolicLink()) continue;
    const isProgram = stat.isFile() && /(^|\/)s?bin\/[^/.]+$|\/node$/.test(name);
    chmodSync(file, stat.isDirectory() || isProgram ? 0o755 : 0o644);
    utimesSync(file, epochS, epochS);
  }
}

/** Started by its launcher alone, with the Node.js that goes with it. */
function withoutInterpreter(file) {
  writeFileSync(file, readFileSync(file, "utf8").replace(/^#!.*\n/, ""));
}

const write = (file, text, mode = 0o644) => {
  mkdirSync(path.dirname(file), { recursive: true });
  writeFileSync(file, text);
  chmodSync(file, mode);
};

/** A program in /usr/bin: our own Node.js where it is installed, otherwise the system's. */
const launcher = (main) => `#!/bin/sh
node=/usr/lib/dyetrace-node/node
[ -x "$node" ] || node=node
exec "$node" ${main} "$@"
`;

const sizeKb = (folder) =>
  Math.ceil(filesIn(folder).reduce((sum, name) => sum + statSync(path.join(folder, name)).size, 0) / 1024);

/** @param {string} about the folder in deploy/debian with what dpkg runs  @param {string} name of the package */
function buildDebian(name, about, architecture, put) {
  const folder = path.join(work, `${name}-${architecture}`);
  rmSync(folder, { recursive: true, force: true });
  put(folder);
  const control = path.join(root, "deploy", "debian", about);
  const doc = path.join(folder, "usr", "share", "doc", name);
  const changed = new Date(epochS * 1000).toUTCString().replace("GMT", "+0000");
  const changelog = `dyetrace (${version}) stable; urgency=medium\n\n  * As of this commit; the repository's log has what changed.\n\n -- dyetrace maintainers <maintainers@dyetrace.example>  ${changed}\n`;
  write(path.join(doc, "changelog.gz"), gzipSync(changelog, { level: 9 }));
  write(path.join(doc, "copyright"), copyrightOf(name));
  const overrides = path.join(control, "lintian-overrides");
  if (existsSync(overrides))
    write(path.join(folder, "usr", "share", "lintian", "overrides", name), readFileSync(overrides));
  settle(folder);
  const installed = sizeKb(folder);
  for (const script of ["postinst", "prerm", "postrm", "conffiles"]) {
    const file = path.join(control, script);
    if (existsSync(file))
      write(path.join(folder, "DEBIAN", script), readFileSync(file), script === "conffiles" ? 0o644 : 0o755);
  }
  const said = readFileSync(path.join(control, "control"), "utf8")
    .replaceAll("@VERSION@", version)
    .replaceAll("@ARCH@", architecture)
    .replaceAll("@SIZE@", String(installed));
  write(path.join(folder, "DEBIAN", "control"), said);
  const sums = filesIn(folder)
    .filter((one) => !one.startsWith("DEBIAN"))
    .map(
      (one) =>
        `${createHash("md5")
          .update(readFileSync(path.join(folder, one)))
          .digest("hex")}  ${one}\n`,
    );
  write(path.join(folder, "DEBIAN", "md5sums"), sums.join(""));
  const file = path.join(out, `${name}_${version}_${architecture}.deb`);
  run("dpkg-deb", ["--root-owner-group", "-Zxz", `-z${options.quick ? 0 : 6}`, "--build", folder, file]);
  tell(file, `${Math.round(installed / 1000)} MB unpacked`);
}

function copyrightOf(name) {
  const parts = [read("LICENSE")];
  if (name === "dyetrace-node") {
    parts.push("Node.js and what it has inside: the terms are in /usr/lib/dyetrace-node/LICENSE.");
    parts.push(`Whole texts: ${COMMON}/Apache-2.0, ${COMMON}/GPL.`);
  }
  if (name === "dyetrace-agent") parts.push(read("agent", "dist", "bundle", "LICENSES.txt"));
  if (name === "dyetrace") {
    for (const place of libraries()) {
      const { name: library, version: met, license } = JSON.parse(read(place, "package.json"));
      parts.push(
        `${library} ${met}: ${typeof license === "string" ? license : "see its folder"}; its text is in its folder.`,
      );
    }
    parts.push(`The text of Apache-2.0: ${COMMON}/Apache-2.0.`);
  }
  return parts.join("\n\n");
}

/** The manual page and bash's completion, made from the program's own commands. */
function pages(folder, name, main) {
  const says = (command) => run(process.execPath, [path.join(root, main), command]);
  write(path.join(folder, "usr", "share", "man", "man1", `${name}.1.gz`), gzipSync(says("manual"), { level: 9 }));
  write(path.join(folder, "usr", "share", "bash-completion", "completions", name), says("completion"));
}

/** The units of deploy/systemd, which start the programs of /opt, for the programs of /usr. */
const unit = (name, from, to) => read("deploy", "systemd", name).replace(from, to);

function nodePackage(folder, cpu) {
  putNode(path.join(folder, "node"), cpu);
  cpSync(path.join(nodeFolder(PACKED_MAJOR, cpu), "LICENSE"), path.join(folder, "LICENSE"));
}

function agentPackage(folder, cpu) {
  pages(folder, "dyetrace-agent", "agent/bin/dyetrace-agent.mjs");
  const program = path.join(folder, "usr", "lib", "dyetrace-agent");
  putAgent(program, cpu);
  withoutInterpreter(path.join(program, "bin", "dyetrace-agent.mjs"));
  write(
    path.join(folder, "usr", "bin", "dyetrace-agent"),
    launcher("/usr/lib/dyetrace-agent/bin/dyetrace-agent.mjs"),
    0o755,
  );
  cpSync(
    path.join(root, "deploy", "debian", "agent", "dyetrace-agent-enrol"),
    path.join(folder, "usr", "sbin", "dyetrace-agent-enrol"),
  );
  write(
    path.join(folder, "lib", "systemd", "system", "dyetrace-agent.service"),
    unit(
      "dyetrace-agent.service",
      "/usr/bin/env node /opt/dyetrace-agent/agent/bin/dyetrace-agent.mjs",
      "/usr/bin/dyetrace-agent",
    ).replace(
      "[Service]",
      "# Until `dyetrace-agent-enrol` has made it known to a controller there is nothing to do.\nConditionPathExists=/var/lib/dyetrace-agent/controller.json\n\n[Service]",
    ),
  );
  write(path.join(folder, "etc", "dyetrace", "agent.yaml"), read("deploy", "agent", "agent.yaml"));
}

function controllerPackage(folder, cpu) {
  pages(folder, "dyetrace", "controller/bin/dyetrace.mjs");
  const program = path.join(folder, "usr", "lib", "dyetrace");
  putController(program, cpu);
  for (const one of [
    "controller/bin/dyetrace.mjs",
    "agent/bin/dyetrace-agent.mjs",
    "agent/dist/bundle/bin/dyetrace-agent.mjs",
  ]) {
    withoutInterpreter(path.join(program, one));
  }
  write(path.join(folder, "usr", "bin", "dyetrace"), launcher("/usr/lib/dyetrace/controller/bin/dyetrace.mjs"), 0o755);
  write(
    path.join(folder, "lib", "systemd", "system", "dyetrace-controller.service"),
    unit(
      "dyetrace-controller.service",
      "/usr/bin/env node /opt/dyetrace/controller/bin/dyetrace.mjs",
      "/usr/bin/dyetrace",
    ),
  );
  write(
    path.join(folder, "etc", "dyetrace", "controller.env"),
    "# The address that agents and operators reach. Off loopback: TLS, and operators sign in.\nDYETRACE_LISTEN=127.0.0.1:8472\n",
  );
}

/** Runs where it is unpacked: `dyetrace/bin/dyetrace` and `dyetrace/bin/dyetrace-agent`. */
function portableTarball(cpu) {
  const parent = path.join(work, `portable-${cpu}`);
  const folder = path.join(parent, "dyetrace");
  rmSync(parent, { recursive: true, force: true });
  putController(path.join(folder, "lib"), cpu);
  putNode(path.join(folder, "lib", "node"), cpu);
  write(path.join(folder, "LICENSE"), copyrightOf("dyetrace"));
  write(path.join(folder, "LICENSE.node"), readFileSync(path.join(nodeFolder(PACKED_MAJOR, cpu), "LICENSE")));
  for (const [name, main] of [
    ["dyetrace", "controller/bin/dyetrace.mjs"],
    ["dyetrace-agent", "agent/bin/dyetrace-agent.mjs"],
  ]) {
    const text = `#!/bin/sh\nlib=$(dirname "$(readlink -f "$0")")/../lib\nexec "$lib/node" "$lib/${main}" "$@"\n`;
    write(path.join(folder, "bin", name), text, 0o755);
  }
  settle(folder);
  const file = path.join(out, `dyetrace-${version}-linux-${cpu}.tar.gz`);
  const unpackedMb = Math.round(sizeKb(folder) / 1000);
  writeFileSync(file, gzipSync(tarOf(parent, "dyetrace", epochS), { level: options.quick ? 1 : 9 }));
  tell(file, `${unpackedMb} MB unpacked`);
}

const tell = (file, more) =>
  process.stdout.write(`${path.relative(root, file)}: ${(statSync(file).size / 1e6).toFixed(1)} MB, ${more}\n`);

const built = ["controller/dist/bundle/main.js", "packages/console/dist/page/index.html"];
if (!built.every((file) => existsSync(path.join(root, file)))) {
  process.stderr.write("There is nothing to pack yet: npm run setup\n");
  process.exit(2);
}
const missing = libraries().filter((place) => !existsSync(path.join(root, place)));
if (missing.length > 0) {
  process.stderr.write(`${missing.join(", ")} is not installed: npm run setup\n`);
  process.exit(2);
}
rmSync(work, { recursive: true, force: true });
mkdirSync(work, { recursive: true });
run(process.execPath, [path.join(root, "deploy", "pack-agent.mjs")]);
for (const architecture of architectures) {
  const cpu = CPU[architecture];
  buildDebian("dyetrace-node", "node", architecture, (folder) =>
    nodePackage(path.join(folder, "usr", "lib", "dyetrace-node"), cpu),
  );
  buildDebian("dyetrace-agent", "agent", architecture, (folder) => agentPackage(folder, cpu));
  buildDebian("dyetrace", "controller", architecture, (folder) => controllerPackage(folder, cpu));
  portableTarball(cpu);
}
rmSync(work, { recursive: true, force: true });
process.stdout.write(`Node.js in them: ${packedNodeVersion("x64")}\n`);
