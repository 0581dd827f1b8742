import { spawn } from "node:child_process";
import { once } from "node:events";
import { cpSync, mkdirSync, rmSync, statfsSync, writeFileSync } from "node:fs";
import path from "node:path";

/** A file system of a few MB in a mount namespace of its own: it stands as long as a process of ours holds it. */
export interface SmallDisk extends AsyncDisposable {
  /** What a command begins with that is to see it. */
  readonly enter: readonly string[];
  /** Where this process finds the folder that it stands on. */
  readonly folder: string;
  /** Until not a byte is left. */
  fill(): void;
  clear(): void;
}

/** @param folder that it is mounted on @param size as mount(8) takes it for a tmpfs: `24M` */
export async function holdSmallDisk(folder: string, size: string): Promise<SmallDisk> {
  const isRoot = process.getuid?.() === 0;
  mkdirSync(folder, { recursive: true });
  const hold = 'mount -t tmpfs -o size="$1" tmpfs "$0" && echo held && exec sleep infinity';
  const holder = spawn("unshare", [isRoot ? "-m" : "-Urm", "sh", "-c", hold, folder, size], {
    stdio: ["ignore", "pipe", "inherit"],
  });
  const [said] = (await once(holder.stdout, "data")) as [Buffer];
  if (String(said).trim() !== "held") throw new Error(`No small disk: ${String(said)}`);
  const inside = `/proc/${holder.pid}/root${folder}`;
  const filler = path.join(inside, "filler");
  return {
    enter: ["nsenter", ...(isRoot ? [] : ["-U", "--preserve-credentials"]), "-m", "-t", String(holder.pid)],
    folder: inside,
    fill: () => {
      const { bavail, bsize } = statfsSync(inside);
      try {
        writeFileSync(filler, Buffer.alloc(bavail * bsize));
      } catch (error) {
        if ((error as NodeJS.ErrnoException).code !== "ENOSPC") throw error; // somebody else wrote meanwhile: full it is
      }
    },
    clear: () => rmSync(filler, { force: true }),
    [Symbol.asyncDispose]: async () => {
      const gone = once(holder, "exit");
      holder.kill("SIGKILL");
      await gone;
    },
  };
}

/** Copies a data folder: of a controller that does not run. */
export function copyData(from: string, to: string): void {
  rmSync(to, { recursive: true, force: true });
  cpSync(from, to, { recursive: true, filter: (name) => !name.endsWith("filler") });
}
