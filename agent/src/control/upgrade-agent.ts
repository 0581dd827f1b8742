import { spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import { existsSync, mkdirSync, readdirSync, readFileSync, rmSync } from "node:fs";
import path from "node:path";
import { Fault } from "@dyetrace/wire";
import { writeWhole } from "../files/write-whole.ts";
import { askController, type KnownController } from "./ask-controller.ts";
import { checkStatement, type PackageTrust } from "./signed-package.ts";

/** Exit status that asks whoever started the agent to start it again: it finds the new program by itself. */
export const EXIT_UPGRADED = 86;

/** Where an upgraded agent keeps its program; `bin/dyetrace-agent.mjs` looks there. */
const programsIn = (dataFolder: string): string => path.join(dataFolder, "program");

/**
 * Fetches the controller's package and makes it the program that this agent is next time, if somebody has signed it whose key
 * this host's file names: the controller only hands it on. The one before is kept, in case the new one never gets to its
 * controller.
 * @returns its version @throws {Fault} UPGRADE_REFUSED; nothing has changed then
 */
export async function fetchUpgrade(
  controller: KnownController,
  trust: PackageTrust,
  dataFolder: string,
): Promise<string> {
  const statement = await askController(controller, "/agent/package.signed.json");
  const { version, sha256 } = checkStatement(statement.toString("utf8"), trust);
  const bytes = await askController(controller, "/agent/package.tgz");
  const met = createHash("sha256").update(bytes).digest("hex");
  if (met !== sha256) {
    throw new Fault("UPGRADE_REFUSED", "The package is not the one that was signed", "Pack and sign it again");
  }
  const programs = programsIn(dataFolder);
  const folder = path.join(programs, sha256.slice(0, 16));
  try {
    rmSync(folder, { recursive: true, force: true });
    mkdirSync(folder, { recursive: true });
    const unpacked = spawnSync("tar", ["-xzf", "-", "-C", folder, "--strip-components=1"], { input: bytes });
    if (unpacked.status !== 0) throw new Error(String(unpacked.error?.message ?? unpacked.stderr));
    if (!existsSync(path.join(folder, "dist", "main.js"))) throw new Error("there is no program in it");
    const inside = JSON.parse(readFileSync(path.join(folder, "package.json"), "utf8")) as { version?: unknown };
    if (inside.version !== version) throw new Error(`it is version ${String(inside.version)}, signed as ${version}`);
    writeWhole(path.join(programs, "current.json"), JSON.stringify({ folder, version, attempts: 0 }));
  } catch (cause) {
    rmSync(folder, { recursive: true, force: true });
    throw new Fault(
      "UPGRADE_REFUSED",
      `The package cannot be unpacked: ${(cause as Error).message}`,
      "Is there room?",
      {
        cause,
      },
    );
  }
  for (const name of readdirSync(programs)) {
    if (name !== path.basename(folder) && name !== "current.json") {
      rmSync(path.join(programs, name), { recursive: true, force: true });
    }
  }
  return version;
}

/** Called once the controller has welcomed this program: it is kept from now on. */
export function keepUpgrade(dataFolder: string, version: string): void {
  const file = path.join(programsIn(dataFolder), "current.json");
  if (!existsSync(file)) return;
  const folder = process.env["DYETRACE_PROGRAM"];
  if (folder !== undefined) writeWhole(file, JSON.stringify({ folder, version, attempts: 0 }));
}
