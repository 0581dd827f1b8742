/**
 * `npm run pack:agent`: the agent with everything it needs as one tarball that a controller hands to its hosts, for
 * 64-bit Intel, 64-bit ARM and 32-bit ARM Linux (portable sockets there). What this machine's own npm did not install,
 * the foreign koffi binaries, comes from the npm registry and must match the checksum in package-lock.json. The same commit
 * packed with the same Node.js gives the same bytes, in whatever folder. Beside it lies what is inside (CycloneDX).
 * Argument: another folder for it than the one where a controller looks.
 */
import { spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import { chmodSync, cpSync, existsSync, mkdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import path from "node:path";
import { gzipSync } from "node:zlib";
import { billOfMaterials } from "./bill-of-materials.mjs";
import { root } from "./bootstrap.mjs";
import { bundle, bundleAgent } from "./bundle-agent.mjs";

const KOFFI = ["@koromix/koffi-linux-x64", "@koromix/koffi-linux-arm64", "@koromix/koffi-linux-arm"];
/** What a package brings that no program reads. */
const NEEDLESS = /^(test|tests|docs?|examples?|benchmarks?|\.github)(\/|$)|\.(map|md|[cm]?ts|tsbuildinfo)$/;
const SCRIPTS = /^[^.]*$|\.([cm]?js|json)$/;

const lock = JSON.parse(readFileSync(path.join(root, "package-lock.json"), "utf8")).packages;
const folder = path.resolve(process.argv[2] ?? path.join(root, "deploy", "agent", "dist"));
const staging = path.join(folder, "dyetrace-agent");
const cache = path.join(root, "node_modules", ".cache", "dyetrace-packages");

/** A package's tarball as the registry has it, checked against the lock file. */
function fetchPackage(name) {
  const { version, integrity } = lock[`node_modules/${name}`];
  const file = path.join(cache, `${name.replace("/", "-").replace("@", "")}-${version}.tgz`);
  if (!existsSync(file)) {
    mkdirSync(cache, { recursive: true });
    const packed = spawnSync("npm", ["pack", "--silent", "--pack-destination", cache, `${name}@${version}`], {
      encoding: "utf8",
    });
    if (packed.status !== 0) throw new Error(`npm pack ${name}@${version}: ${packed.stderr}`);
  }
  const [algorithm, expected] = integrity.split(/-(.*)/);
  const met = createHash(algorithm).update(readFileSync(file)).digest("base64");
  if (met !== expected) {
    rmSync(file);
    throw new Error(`${name}@${version} is not what package-lock.json expects`);
  }
  return file;
}

function copy(from, to, wanted = /./) {
  cpSync(from, to, {
    recursive: true,
    dereference: true,
    filter: (source) => {
      const inside = path.relative(from, source);
      return inside === "" || (!inside.startsWith("node_modules") && !NEEDLESS.test(inside) && wanted.test(inside));
    },
  });
}

function tar(...args) {
  const { status, stdout, stderr } = spawnSync("tar", args, { maxBuffer: 256 * 1024 * 1024 });
  if (status !== 0) throw new Error(`tar ${args.join(" ")}: ${stderr}`);
  return stdout;
}
/** Nothing of this machine goes in: no order of its folders, no time, no user, no umask. */
const ALIKE = [
  "--sort=name",
  "--mtime=@0",
  "--owner=0",
  "--group=0",
  "--numeric-owner",
  "--mode=u=rwX,go=rX",
  "--format=ustar",
];

await bundleAgent();
rmSync(folder, { recursive: true, force: true });
mkdirSync(staging, { recursive: true });
cpSync(bundle, staging, { recursive: true });
// koffi: its script and, of its binaries, those of the three kinds of host.
const koffi = path.join(staging, "node_modules", "koffi");
copy(path.join(root, "node_modules", "koffi"), koffi, SCRIPTS);
for (const needless of ["doc", "vendor", "lib"]) rmSync(path.join(koffi, needless), { recursive: true, force: true });
for (const name of KOFFI) {
  const to = path.join(staging, "node_modules", name);
  mkdirSync(to, { recursive: true });
  tar("-xzf", fetchPackage(name), "-C", to, "--strip-components=1");
}
mkdirSync(path.join(staging, "deploy"));
for (const name of ["agent.yaml", "run-without-systemd.sh"]) {
  cpSync(path.join(root, "deploy", "agent", name), path.join(staging, "deploy", name));
}
cpSync(
  path.join(root, "deploy", "systemd", "dyetrace-agent.service"),
  path.join(staging, "deploy", "dyetrace-agent.service"),
);
const { name, version, license } = JSON.parse(readFileSync(path.join(root, "agent", "package.json"), "utf8"));
const bundled = JSON.parse(readFileSync(path.join(staging, "libraries.json"), "utf8"));
const added = ["koffi", ...KOFFI].map((library) => ({
  name: library,
  version: lock[`node_modules/${library}`].version,
  license: lock[`node_modules/${library}`].license,
}));
const bill = billOfMaterials({ name, version, license }, [...bundled, ...added], lock);
writeFileSync(path.join(staging, "sbom.cdx.json"), `${JSON.stringify(bill, null, 2)}\n`);
rmSync(path.join(staging, "libraries.json"));
chmodSync(path.join(staging, "deploy", "run-without-systemd.sh"), 0o755);
const file = path.join(folder, "dyetrace-agent.tgz");
writeFileSync(file, gzipSync(tar(...ALIKE, "-cf", "-", "-C", folder, "dyetrace-agent"), { level: 9 }));
cpSync(path.join(staging, "sbom.cdx.json"), `${file}.cdx.json`);
writeFileSync(`${file}.version`, `${version}\n`);
rmSync(staging, { recursive: true, force: true });
process.stdout.write(
  `${process.argv[2] === undefined ? path.relative(root, file) : file}: version ${version}, ${(statSync(file).size / 1e6).toFixed(1)} MB\n`,
);
