import { createReadStream, readdirSync, rmSync } from "node:fs";
import { mkdtemp, rm, stat } from "node:fs/promises";
import { tmpdir } from "node:os";
import path from "node:path";
import { Fault } from "@dyetrace/wire";
import type { FastifyInstance } from "fastify";
import type { Store } from "../store/store.ts";
import { fileOf } from "./json-lines.ts";

/** How folders begin in which a copy is made. */
const COPY_FOLDER = ".dyetrace-backup-";
const SQLITE = "application/vnd.sqlite3";

/**
 * `GET /api/backup`: a copy of everything. One at a time, until it is sent and gone: each takes as much of the disk as the store.
 * @param dataFolder where a copy is made before it is sent; null: where the system keeps such files
 */
export function registerBackupRoute(
  app: FastifyInstance,
  store: Pick<Store, "backUp" | "fault">,
  dataFolder: string | null,
): void {
  if (dataFolder !== null) removeLeftCopies(dataFolder);
  let isCopying = false;
  app.get(
    "/api/backup",
    {
      config: { needs: "operate" },
      schema: {
        summary: "A copy of the embedded store, an SQLite database, taken while it is used",
        response: fileOf(SQLITE, "The copy"),
      },
    },
    async (_request, reply) => {
      if (isCopying) throw new Fault("TOO_MANY", "A backup is being taken already", "Wait for its end");
      isCopying = true;
      let folder: string | null = null;
      const done = async (): Promise<void> => {
        if (folder !== null) await rm(folder, { recursive: true, force: true }).catch(() => undefined);
        isCopying = false;
      };
      try {
        folder = await mkdtemp(path.join(dataFolder ?? tmpdir(), COPY_FOLDER));
        const file = path.join(folder, "store.sqlite");
        await store.backUp(file);
        const { size } = await stat(file);
        if (reply.raw.closed) {
          await done();
          return reply.hijack(); // whoever asked has gone meanwhile
        }
        reply.raw.once("close", () => void done());
        return await reply
          .header("content-length", size)
          .header("content-disposition", 'attachment; filename="dyetrace-backup.sqlite"')
          .type(SQLITE)
          .send(createReadStream(file));
      } catch (error) {
        await done();
        throw store.fault(error);
      }
    },
  );
}

/** A controller that was killed while it copied has left a copy behind. */
function removeLeftCopies(folder: string): void {
  try {
    for (const name of readdirSync(folder)) {
      if (name.startsWith(COPY_FOLDER)) rmSync(path.join(folder, name), { recursive: true, force: true });
    }
  } catch {
    // Where there is no folder yet, or it can't be read, nothing was left by us.
  }
}
