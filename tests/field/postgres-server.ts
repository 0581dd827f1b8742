import { spawn, spawnSync } from "node:child_process";
import { once } from "node:events";
import { chmodSync, chownSync, existsSync, mkdtempSync, readdirSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";

/** A PostgreSQL server of the test's own, in a temporary folder, on a Unix socket. */
export interface PostgresServer extends AsyncDisposable {
  /** A new, empty database. */
  database(name: string): string;
}

/** Where Debian puts the server's programs, newest version first. */
function programFolder(): string | null {
  const base = "/usr/lib/postgresql";
  if (!existsSync(base)) return null;
  const versions = readdirSync(base).sort((a, b) => Number(b) - Number(a));
  return (
    versions.map((version) => path.join(base, version, "bin")).find((bin) => existsSync(path.join(bin, "initdb"))) ??
    null
  );
}

/** The server refuses to run as root; `nobody` is on every Debian. */
const NOBODY = 65_534;

/** @throws where the server's programs are missing: `npm test` installs them */
export async function startPostgres(): Promise<PostgresServer> {
  const bin = programFolder();
  if (bin === null) throw new Error("No PostgreSQL server here: apt-get install postgresql");
  const isRoot = process.getuid?.() === 0;
  const owner = isRoot ? { uid: NOBODY, gid: NOBODY } : {};
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-pg-"));
  chmodSync(folder, 0o700);
  if (isRoot) chownSync(folder, NOBODY, NOBODY);
  const data = path.join(folder, "data");
  const initdb = spawnSync(
    path.join(bin, "initdb"),
    ["-D", data, "-U", "tracer", "--auth=trust", "-E", "UTF8", "--locale=C", "--no-sync"],
    { ...owner, cwd: folder, encoding: "utf8" },
  );
  if (initdb.status !== 0) throw new Error(`initdb failed: ${initdb.stderr}`);
  const settings = ["listen_addresses=", `unix_socket_directories=${folder}`, "shared_buffers=16MB", "fsync=off"];
  const server = spawn(path.join(bin, "postgres"), ["-D", data, ...settings.flatMap((setting) => ["-c", setting])], {
    ...owner,
    cwd: folder,
    stdio: ["ignore", "ignore", "pipe"],
  });
  let words = "";
  await new Promise<void>((resolve, reject) => {
    server.stderr.on("data", (chunk: Buffer) => {
      words += chunk.toString();
      if (words.includes("ready to accept connections")) resolve();
    });
    server.once("exit", () => reject(new Error(`postgres ended: ${words}`)));
  });
  const psql = (...args: string[]): void => {
    const { status, stderr } = spawnSync("psql", ["-h", folder, "-U", "tracer", "-d", "postgres", ...args], {
      encoding: "utf8",
    });
    if (status !== 0) throw new Error(`psql failed: ${stderr}`);
  };
  return {
    database: (name) => {
      psql("-c", `create database ${name}`);
      return `postgres://tracer@localhost/${name}?host=${encodeURIComponent(folder)}`;
    },
    [Symbol.asyncDispose]: async () => {
      const gone = once(server, "exit");
      server.kill("SIGINT"); // "fast shutdown"
      await gone;
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
