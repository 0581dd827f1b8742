import { createHash } from "node:crypto";
import { readFileSync, statSync } from "node:fs";
import { fileURLToPath } from "node:url";
import { Fault } from "@dyetrace/wire";

/** Made by `npm run pack:agent`. */
const PACKAGE = fileURLToPath(new URL("../../../deploy/agent/dist/dyetrace-agent.tgz", import.meta.url));
const SCRIPT = fileURLToPath(new URL("../../../deploy/agent/install.sh", import.meta.url));

export interface AgentPackage {
  readonly bytes: Buffer;
  /** SHA-256 in hexadecimal. */
  readonly sha256: string;
  readonly version: string;
}

let kept: (AgentPackage & { readonly stamp: string }) | null = null;

/** The agent as a host gets it. @throws {Fault} FILE_UNREADABLE where it has not been packed */
export function agentPackage(): AgentPackage {
  const stat = statSync(PACKAGE, { throwIfNoEntry: false });
  if (stat === undefined) {
    throw new Fault(
      "FILE_UNREADABLE",
      "The agent has not been packed on the controller",
      "Run `npm run pack:agent` there once, and after every update",
    );
  }
  const stamp = `${stat.mtimeMs} ${stat.size}`;
  if (kept?.stamp !== stamp) {
    const bytes = readFileSync(PACKAGE);
    const version = readFileSync(`${PACKAGE}.version`, "utf8").trim();
    kept = { bytes, version, sha256: createHash("sha256").update(bytes).digest("hex"), stamp };
  }
  return kept;
}

/** What the maintainer has signed of the package; the controller only hands it on. @throws {Fault} UPGRADE_REFUSED where there is none */
export function packageStatement(): Buffer {
  agentPackage();
  try {
    return readFileSync(`${PACKAGE}.signed.json`);
  } catch (cause) {
    throw new Fault(
      "UPGRADE_REFUSED",
      "The agent's package on the controller is not signed",
      "Run `npm run sign:agent` with the maintainer's key, and put dyetrace-agent.tgz.signed.json beside the package",
      { cause },
    );
  }
}

/** The script that the pasted line runs, with where it came from and what it may fetch written into it. */
export function installScript(url: string, pin: string | null): string {
  const { sha256, version } = agentPackage();
  const facts = { URL: url, PIN: pin ?? "", SHA256: sha256, VERSION: version };
  return readFileSync(SCRIPT, "utf8").replace(/@(URL|PIN|SHA256|VERSION)@/g, (_all, name: keyof typeof facts) =>
    String(facts[name]),
  );
}
