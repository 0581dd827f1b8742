import path from "node:path";
import { text } from "node:stream/consumers";
import { http } from "@dyetrace/pin";
import { Fault } from "@dyetrace/wire";
import { localStopSocket } from "../../files/local-stop-socket.ts";
import { faultOf } from "./controller-client.ts";

/**
 * Orders a stop over the socket in the data folder of a controller that runs on this machine.
 * @param run null: every source of every agent @returns the agents that were told
 * @throws {Fault} the controller's own, CONTROLLER_UNREACHABLE
 */
export async function stopLocally(dataFolder: string, run: string | null): Promise<readonly string[]> {
  const socketPath = path.resolve(localStopSocket(dataFolder));
  const [status, answer] = await new Promise<[number, string]>((resolve, reject) => {
    const url = run === null ? "/stop" : `/stop/${encodeURIComponent(run)}`;
    const request = http.request({ socketPath, path: url, method: "POST", timeout: 10_000 }, (response) => {
      text(response).then((body) => resolve([response.statusCode ?? 0, body]), reject);
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
  if (status === 202) return (JSON.parse(answer) as { agents?: readonly string[] }).agents ?? [];
  throw faultOf(status, answer);
}
