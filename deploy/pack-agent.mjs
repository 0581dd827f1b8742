/**
 * `npm run pack:agent`: the agent with everything it needs as one tarball that a controller hands to its hosts, for
 * 64-bit Intel, 64-bit ARM and 32-bit ARM Linux (portable sockets there). What this machine's own npm did not install,
 * the foreign koffi binaries, comes from the npm registry and must match the checksum in package-lock.json. The same commit
 * packed with the same Node.js gives the same bytes, in whatever folder. Beside it lies what is inside (CycloneDX).
 * Argument: another folder for it than the one where a controller looks.
 */
import { chmodSync, cpSync, mkdirSync, readFileSync, rmSync, statSync, writeFileSync } from "node:fs";
import path from "node:path";
import { gzipSync } from "node:zlib";
import { billOfMaterials } from "./bill-of-materials.mjs";
import { root } from "./bootstrap.mjs";
import { bundle, bundleAgent } from "./bundle-agent.mjs";
import { copy, fetchPackage, lock, tarOf, unpack } from "./pack-parts.mjs";

const KOFFI = ["@koromix/koffi-linux-x64", "@koromix/koffi-linux-arm64", "@koromix/koffi-linux-arm"];
const SCRIPTS = /^[^.]*$|\.([cm]?js|json)$/;

const folder = path.resolve(process.argv[2] ?? path.join(root, "deploy", "agent", "dist"));
const staging = path.join(folder, "dyetrace-agent");

await bundleAgent();
rmSync(folder, { recursive: true, force: true });
mkdirSync(staging, { recursive: true });
cpSync(bundle, staging, { recursive: true });
// koffi: its script and, of its binaries, those of the three kinds of host.
const koffi = path.join(staging, "node_modules", "koffi");
copy(path.join(root, "node_modules", "koffi"), koffi, SCRIPTS);
for (const needless of ["doc", "vendor", "lib"]) rmSync(path.join(koffi, needless), { recursive: true, force: true });
for (const name of KOFFI) unpack(fetchPackage(name), path.join(staging, "node_modules", name));
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
writeFileSync(file, gzipSync(tarOf(folder, "dyetrace-agent"), { level: 9 }));
cpSync(path.join(staging, "sbom.cdx.json"), `${file}.cdx.json`);
writeFileSync(`${file}.version`, `${version}\n`);
rmSync(staging, { recursive: true, force: true });
process.stdout.write(
  `${process.argv[2] === undefined ? path.relative(root, file) : file}: version ${version}, ${(statSync(file).size / 1e6).toFixed(1)} MB\n`,
);
