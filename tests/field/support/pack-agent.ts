import { execFileSync, spawnSync } from "node:child_process";
import { createHash } from "node:crypto";
import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";

const REPOSITORY = fileURLToPath(new URL("../../..", import.meta.url));

/** A script of `deploy`. @returns what it printed */
function run(script: string, ...argv: readonly string[]): string {
  const options = { cwd: REPOSITORY, encoding: "utf8" } as const;
  const { status, stdout, stderr } = spawnSync(process.execPath, [`deploy/${script}`, ...argv], options);
  if (status !== 0) throw new Error(stderr);
  return stdout;
}

/** Where a controller looks for the package that its hosts fetch, below the repository. */
export const PACKAGE_PLACE = "deploy/agent/dist";

/**
 * A package of the agent in a folder of a test's own: `npm run pack:agent`, without disturbing others that pack at the same
 * time. A controller sees it where `dist` is mounted over `PACKAGE_PLACE`.
 */
export class AgentPackage implements Disposable {
  readonly #folder = mkdtempSync(path.join(tmpdir(), "dyetrace-package-"));
  readonly #keyFile = path.join(this.#folder, "key.pem");
  /** For the hosts' upgrade-keys. */
  readonly publicKey: string;
  /** Of what was packed, whatever stands in its place since. */
  readonly packedSha256: string;
  /** What is to be mounted. */
  readonly dist = path.join(this.#folder, "dist");

  constructor() {
    this.publicKey = run("sign-agent.mjs", "--make-key", this.#keyFile).trim();
    run("pack-agent.mjs", this.dist);
    this.packedSha256 = this.sha256;
    this.sign();
  }

  /** SHA-256 of the package, hexadecimal. */
  get sha256(): string {
    return createHash("sha256")
      .update(readFileSync(path.join(this.dist, "dyetrace-agent.tgz")))
      .digest("hex");
  }

  /** As the maintainer would. */
  sign(): void {
    run("sign-agent.mjs", "--key", this.#keyFile, this.dist);
  }

  /** With a key that no host knows. */
  signAsStranger(): void {
    const key = path.join(this.#folder, "stranger.pem");
    run("sign-agent.mjs", "--make-key", key);
    run("sign-agent.mjs", "--key", key, this.dist);
  }

  /** Exchanges one bit of one byte in the middle: doing it twice undoes it. */
  changeOneByte(): void {
    const file = path.join(this.dist, "dyetrace-agent.tgz");
    const bytes = readFileSync(file);
    const at = bytes.length >> 1;
    bytes[at] = (bytes[at] ?? 0) ^ 1;
    writeFileSync(file, bytes);
  }

  /** Puts a package that differs in its version alone in the place of the one that was packed, not signed yet. */
  packAs(version: string): void {
    const unpacked = path.join(this.#folder, "unpacked");
    const file = path.join(this.dist, "dyetrace-agent.tgz");
    mkdirSync(unpacked);
    try {
      execFileSync("tar", ["-xzf", file, "-C", unpacked]);
      const about = path.join(unpacked, "dyetrace-agent", "package.json");
      const facts = JSON.parse(readFileSync(about, "utf8")) as { version: string };
      writeFileSync(about, JSON.stringify({ ...facts, version }));
      // The program's text is short: nothing of the constant is left but its value, in whatever quotes.
      const source = path.join(unpacked, "dyetrace-agent", "dist", "main.js");
      const [before, after, ...others] = readFileSync(source, "utf8").split(
        new RegExp(`(?<=["'\`])${facts.version.replaceAll(".", "\\.")}(?=["'\`])`),
      );
      if (after === undefined || others.length > 0) throw new Error("main.js does not say its version just once");
      writeFileSync(source, `${before}${version}${after}`);
      execFileSync("tar", ["-czf", file, "-C", unpacked, "dyetrace-agent"]);
      writeFileSync(`${file}.version`, `${version}\n`);
    } finally {
      rmSync(unpacked, { recursive: true });
    }
  }

  [Symbol.dispose](): void {
    rmSync(this.#folder, { recursive: true, force: true });
  }
}
