/**
 * What the packages are put together with: files of the npm registry held to their checksums, copies without what no program reads,
 * and tarballs that have nothing of this machine in them.
 */
import { spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import { cpSync, existsSync, mkdirSync, readFileSync, rmSync, statSync } from "node:fs";
import path from "node:path";
import { root } from "./bootstrap.mjs";

export const lock = JSON.parse(readFileSync(path.join(root, "package-lock.json"), "utf8")).packages;
const cache = path.join(root, "node_modules", ".cache", "dyetrace-packages");

/** What a package brings that no program reads. */
const NEEDLESS =
  /^(test|tests|docs?|examples?|benchmarks?|integration)(\/|$)|(^|\/)\.[^/]*$|\.(map|md|[cm]?ts|tsbuildinfo)$/;

/** A package's tarball as the registry has it. @param {{ version: string, integrity: string }} pinned as package-lock.json has it */
export function fetchPackage(name, { version, integrity } = lock[`node_modules/${name}`]) {
  const file = path.join(cache, `${name.replace("/", "-").replace("@", "")}-${version}.tgz`);
  if (!existsSync(file)) {
    mkdirSync(cache, { recursive: true });
    run("npm", ["pack", "--silent", "--pack-destination", cache, `${name}@${version}`]);
  }
  const [algorithm, expected] = integrity.split(/-(.*)/);
  const met = createHash(algorithm).update(readFileSync(file)).digest("base64");
  if (met !== expected) {
    rmSync(file);
    throw new Error(`${name}@${version} is not what it is pinned to`);
  }
  return file;
}

/** Without what no program reads, and without another package's folder inside. @param {RegExp} wanted files, by their paths inside */
export function copy(from, to, wanted = /./) {
  cpSync(from, to, {
    recursive: true,
    dereference: true,
    filter: (source) => {
      const inside = path.relative(from, source);
      if (inside === "") return true;
      if (inside.startsWith("node_modules") || NEEDLESS.test(inside)) return false;
      return statSync(source).isDirectory() || wanted.test(inside);
    },
  });
}

/** @returns {Buffer} what it wrote to standard output */
export function run(command, args, options = {}) {
  const { status, stdout, stderr, error } = spawnSync(command, args, { maxBuffer: 512 * 1024 * 1024, ...options });
  if (status !== 0) throw new Error(`${command} ${args.join(" ")}: ${error?.message ?? stderr}`);
  return stdout;
}

/** Nothing of this machine goes in: no order of its folders, no time, no user, no umask. */
const ALIKE = ["--sort=name", "--owner=0", "--group=0", "--numeric-owner", "--mode=u=rwX,go=rX", "--format=ustar"];

/** @returns {Buffer} a tarball of one folder; the same files give the same bytes. @param {number} atS its time, seconds since 1970 */
export const tarOf = (parent, name, atS = 0) =>
  run("tar", [...ALIKE, `--mtime=@${atS}`, "-cf", "-", "-C", parent, name]);

/** @param {string[]} members of the tarball; none: all */
export function unpack(file, to, members = []) {
  mkdirSync(to, { recursive: true });
  run("tar", ["-xzf", file, "-C", to, "--strip-components=1", "--no-same-owner", ...members]);
}
