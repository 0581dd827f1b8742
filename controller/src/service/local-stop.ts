import { rmSync, statSync } from "node:fs";
import type { Server } from "node:http";
import path from "node:path";
import { http } from "@dyetrace/pin";
import { Fault } from "@dyetrace/wire";
import type { Logger } from "pino";
import type { AuditLog } from "../audit/audit-log.ts";
import { localStopSocket } from "../files/local-stop-socket.ts";
import type { RunStops } from "../runs/stop-runs.ts";

/**
 * Whoever may read the controller's data folder can stop what it runs, without signing in and whatever strangers do to its
 * address meanwhile: over a socket in that folder, which has no limits but its own.
 * @param stops what can be ordered there; nothing else can
 */
export async function openLocalStop(
  folder: string,
  stops: RunStops,
  audit: Pick<AuditLog, "note">,
  log: Logger,
): Promise<AsyncDisposable> {
  const socket = localStopSocket(folder);
  const server = http.createServer((request, response) => {
    request.resume();
    void answer(request.method ?? "", request.url ?? "", stops, audit).then(({ status, body }) =>
      response.writeHead(status, { "content-type": "application/json" }).end(JSON.stringify(body)),
    );
  });
  server.maxConnections = 16;
  try {
    await listen(server, socket);
  } catch (err) {
    log.warn({ err }, "`dyetrace stop --data` does not work beside this controller");
  }
  return {
    [Symbol.asyncDispose]: () =>
      new Promise((resolve) => {
        server.close(() => resolve());
        server.closeAllConnections();
      }),
  };
}

/** Nobody signs in there. */
const BY = "somebody at the controller's machine";

async function answer(
  method: string,
  url: string,
  stops: RunStops,
  audit: Pick<AuditLog, "note">,
): Promise<{ readonly status: number; readonly body: object }> {
  const run = /^\/stop\/([0-9a-f]{16})$/.exec(url)?.[1];
  try {
    if (method !== "POST" || (run === undefined && url !== "/stop")) {
      throw new Fault("MESSAGE_INVALID", "Here runs are stopped, and nothing else is done", "POST /stop or /stop/RUN");
    }
    audit.note(
      "the controller's machine",
      "its data folder",
      run === undefined ? "stopped every source" : `stopped run ${run}`,
    );
    if (run === undefined) return { status: 202, body: { agents: stops.stopAll(BY) } };
    await stops.stopRun(run, BY);
    return { status: 202, body: {} };
  } catch (error) {
    const { code, message, hint } = error instanceof Fault ? error : new Fault("INTERNAL", String(error), "");
    return { status: 400, body: { code, message, hint } };
  }
}

/** What an earlier controller left there is taken away; the right to the socket is its owner's from the start. */
function listen(server: Server, socket: string): Promise<void> {
  if (statSync(socket, { throwIfNoEntry: false })?.isSocket() === true) rmSync(socket);
  return new Promise((resolve, reject) => {
    server.once("error", reject);
    const before = process.umask(0o177);
    try {
      server.listen(path.resolve(socket), () => resolve()); // bound at once, so that the umask holds
    } finally {
      process.umask(before);
    }
  });
}
