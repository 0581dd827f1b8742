import { readFileSync, statSync } from "node:fs";
import { Fault } from "@dyetrace/wire";
import { cannotRead } from "@dyetrace/wire/command-line/file-fault";
import type { StorePlace } from "../../store/open-database.ts";

export interface StoreOptions {
  readonly data?: string;
  readonly store?: string;
  readonly storeFile?: string;
}

/** The environment's word for `--store`, which other users of the machine can't read. */
export const STORE_VARIABLE = "DYETRACE_STORE";

/**
 * What `--store`, `--store-file`, the environment or `--data` name, in this order; none of them: memory.
 * @throws {Fault} OPTION_INVALID, FILE_UNREADABLE
 */
export function storePlace(options: StoreOptions, environment: NodeJS.ProcessEnv = process.env): StorePlace {
  const { data, store, storeFile } = options;
  if (store !== undefined && storeFile !== undefined) {
    throw new Fault("OPTION_INVALID", "--store and --store-file both name the database", "Give one of them");
  }
  if (store !== undefined) return databaseAt(store, "--store");
  if (storeFile !== undefined) return databaseAt(readSecret(storeFile), `--store-file ${storeFile}`);
  const inEnvironment = environment[STORE_VARIABLE];
  if (inEnvironment !== undefined && inEnvironment !== "") return databaseAt(inEnvironment, STORE_VARIABLE);
  return data === undefined ? { kind: "memory" } : { kind: "folder", folder: data };
}

/** Null: the arguments of this program hold no password. */
export function cautionOfPassword({ store }: StoreOptions): string | null {
  if (store === undefined || !URL.canParse(store) || new URL(store).password === "") return null;
  return "Every user of this machine can read the password that stands in --store: put the address into a file for --store-file.";
}

function databaseAt(text: string, from: string): StorePlace {
  if (/^postgres(ql)?:\/\//.test(text) && URL.canParse(text)) return { kind: "postgres", url: text };
  throw new Fault(
    "OPTION_INVALID",
    `${from} has no address of a database`,
    "Write it as postgres://user@host/name; the embedded store needs only --data FOLDER",
  );
}

function readSecret(file: string): string {
  try {
    const text = readFileSync(file, "utf8").trim();
    const OTHERS = 0o007;
    if ((statSync(file).mode & OTHERS) === 0) return text;
  } catch (cause) {
    throw cannotRead(file, cause, "Check the path and its rights");
  }
  throw new Fault("OPTION_INVALID", `Every user of this machine can read ${file}`, `Mend it with: chmod o-rwx ${file}`);
}
