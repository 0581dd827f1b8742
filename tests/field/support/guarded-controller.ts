import { spawnSync } from "node:child_process";
import { mkdtempSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import path from "node:path";
import { fileURLToPath } from "node:url";
import type { PracticeProcess, PracticeSite } from "@dyetrace/practice";
import { PACKAGE_PLACE } from "./pack-agent.ts";

const REPOSITORY = fileURLToPath(new URL("../../..", import.meta.url));
const PROGRAM = path.join(REPOSITORY, "controller/bin/dyetrace.mjs");
/** The package that its hosts fetch is the test's own. */
const WITH_PACKAGE = 'mkdir -p "$0" && mount --bind "$1" "$0" && shift && exec "$@"';

export interface Answer {
  readonly status: number;
  readonly body: string;
}

/** `dyetrace controller` on a host of a practice site, at its address there: with TLS, and operators who sign in. */
export interface GuardedController extends AsyncDisposable {
  readonly url: string;
  readonly pin: string;
  readonly folder: string;
  /** As an operator who may operate; `as: "view"` as one who may look, `as: null` as nobody. */
  ask(method: string, route: string, body?: object, as?: "operate" | "view" | null): Promise<Answer>;
  /** Names of the connected agents. */
  agents(): Promise<readonly string[]>;
  readonly process: PracticeProcess;
}

export function program(...words: readonly string[]): { readonly code: number | null; readonly output: string } {
  const { status, stdout } = spawnSync(process.execPath, [PROGRAM, ...words], { encoding: "utf8" });
  return { code: status, output: stdout };
}

/** @param agentPackage folder of the agent's package that it hands out */
export async function startGuardedController(
  site: PracticeSite,
  node: string,
  agentPackage: string,
): Promise<GuardedController> {
  const folder = mkdtempSync(path.join(tmpdir(), "dyetrace-guarded-"));
  const passwords = new Map<string, string>();
  for (const role of ["operate", "view"]) {
    const { output } = program("operator", "add", role, "--role", role, "--draw-password", "--data", folder);
    passwords.set(role, output.trim());
  }
  const url = `https://${site.addressOf(node).ipv4}:8472`;
  const words: string[] = [];
  let tell = (): void => {};
  const told = new Promise<void>((resolve) => {
    tell = resolve;
  });
  const running = await site.spawn(
    node,
    [
      ...["unshare", "--mount", "sh", "-c", WITH_PACKAGE, path.join(REPOSITORY, PACKAGE_PLACE), agentPackage],
      ...[process.execPath, PROGRAM, "controller", "--listen", url.slice("https://".length), "--data", folder],
    ],
    {
      env: { DYETRACE_LOG: "warn" },
      onLine: (line) => {
        words.push(line);
        if (line.startsWith("Operators sign in there")) tell();
      },
    },
  );
  const ended = running.exit.then(() => Promise.reject(new Error(`No controller: ${words.join(" | ")}`)));
  ended.catch(() => undefined);
  await Promise.race([told, ended]);
  const pin = /sha256\/\/\S+/.exec(words.join("\n"))?.[0] ?? "";
  const tokens = new Map<string, string>();

  const curl = async (
    method: string,
    route: string,
    body: object | undefined,
    token: string | null,
  ): Promise<Answer> => {
    const argv = ["curl", "-sSk", "--pinnedpubkey", pin, "-X", method, "-w", "\n%{http_code}", `${url}${route}`];
    if (token !== null) argv.push("-H", `authorization: Bearer ${token}`);
    if (body !== undefined) argv.push("-H", "content-type: application/json", "-d", JSON.stringify(body));
    const { stdout, stderr } = await site.exec(node, argv);
    const lines = stdout.split("\n");
    const status = Number(lines.pop());
    if (!(status >= 100)) throw new Error(`${method} ${route}: ${stderr}`);
    return { status, body: lines.join("\n") };
  };
  for (const [name, password] of passwords) {
    const { body } = await curl("POST", "/api/sign-in", { name, password }, null);
    tokens.set(name, (JSON.parse(body) as { token: string }).token);
  }
  const ask: GuardedController["ask"] = (method, route, body, as = "operate") =>
    curl(method, route, body, as === null ? null : (tokens.get(as) ?? null));
  return {
    url,
    pin,
    folder,
    ask,
    agents: async () => {
      const { body } = await ask("GET", "/api/agents");
      return (JSON.parse(body) as { name: string }[]).map(({ name }) => name);
    },
    process: running,
    [Symbol.asyncDispose]: async () => {
      running.signal("SIGTERM");
      await running.exit;
      rmSync(folder, { recursive: true, force: true });
    },
  };
}
