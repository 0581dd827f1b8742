import http from "node:http";
import path from "node:path";
import { json } from "node:stream/consumers";
import { Fault, faultCodeOf } from "@dyetrace/wire";
import { localStopSocket } from "../../files/local-stop-socket.ts";

/**
 * Orders a stop over the socket in the data folder of a controller that runs on this machine.
 * @param run null: every source of every agent @returns the agents that were told
 * @throws {Fault} the controller's own, CONTROLLER_UNREACHABLE
 */
export async function stopLocally(dataFolder: string, run: string | null): Promise<readonly string[]> {
  const socketPath = path.resolve(localStopSocket(dataFolder));
  const [status, answer] = await new Promise<[number, unknown]>((resolve, reject) => {
    const url = run === null ? "/stop" : `/stop/${encodeURIComponent(run)}`;
    const request = http.request({ socketPath, path: url, method: "POST", timeout: 10_000 }, (response) => {
      json(response).then((body) => resolve([response.statusCode ?? 0, body]), reject);
    });
    request.on("timeout", () => request.destroy(new Error("no answer in time")));
    request.on("error", reject);
    request.end();
  }).catch((cause: NodeJS.ErrnoException) => {
    const why = cause.code ?? cause.message;
    const hint =
      why === "EACCES"
        ? "Run this as the controller's user, or as root"
        : "Name the folder that the controller was started with, on its own machine";
    throw new Fault("CONTROLLER_UNREACHABLE", `No controller answers in ${dataFolder}: ${why}`, hint, { cause });
  });
  if (status === 202) return (answer as { agents?: readonly string[] }).agents ?? [];
  const { code, message, hint } = answer as { code: string; message: string; hint: string };
  throw new Fault(faultCodeOf(code), message, hint);
}
