import { Fault } from "@dyetrace/wire";

/** Codes of SQLite and PostgreSQL (SQLSTATE), and what they mean for the operator. */
const MEANINGS: readonly {
  readonly codes: RegExp;
  readonly fault: (place: string, cause: unknown) => Fault;
}[] = [
  {
    codes: /^(SQLITE_FULL|ENOSPC|53100)$/,
    fault: (place, cause) =>
      new Fault("STORE_FULL", `The disk of the store ${place} is full`, "Make room; what is stored stays as it is", {
        cause,
      }),
  },
  {
    codes: /^(SQLITE_READONLY.*|SQLITE_CANTOPEN.*|EACCES|EROFS|EPERM|25006|42501)$/,
    fault: (place, cause) =>
      new Fault(
        "STORE_READ_ONLY",
        `Cannot write to the store ${place}`,
        "Give this user write access to it, or name another place with --data or --store",
        { cause },
      ),
  },
  {
    codes: /^(SQLITE_NOTADB|SQLITE_CORRUPT.*|XX001|XX002)$/,
    fault: (place, cause) =>
      new Fault(
        "STORE_CORRUPT",
        `The store ${place} is damaged, or is no store of dyetrace`,
        "Nothing was changed in it. Move it away and start again, or put a backup in its place",
        { cause },
      ),
  },
  {
    codes: /^(SQLITE_BUSY.*|SQLITE_LOCKED.*|55P03)$/,
    fault: (place, cause) =>
      new Fault(
        "STORE_BUSY",
        `Another program has the store ${place} open`,
        "Ask the controller that runs there with --controller URL, or stop it first",
        { cause },
      ),
  },
  {
    codes: /^(SQLITE_IOERR.*|SQLITE_PROTOCOL|EIO|58030)$/,
    fault: (place, cause) =>
      new Fault(
        "STORE_UNREACHABLE",
        `The disk does not let the store ${place} be read or written (${(cause as { code: string }).code})`,
        "Look at the disk and at the kernel's log",
        { cause },
      ),
  },
  {
    codes: /^(ECONNREFUSED|ENOTFOUND|EHOSTUNREACH|ETIMEDOUT|ECONNRESET|ENOENT|08...|57P0.|28...|3D000|28P01)$/,
    fault: (place, cause) =>
      new Fault(
        "STORE_UNREACHABLE",
        `Cannot reach the store ${place}: ${(cause as Error).message}`,
        "Check the address, the name and the password, and that the database answers",
        { cause },
      ),
  },
];

/** @returns the failure in the operator's terms; a bug of ours comes back as it is */
export function storeFault(error: unknown, place: string): unknown {
  if (error instanceof Fault) return error;
  const { code } = error as { code?: unknown };
  if (typeof code !== "string") return error;
  return MEANINGS.find(({ codes }) => codes.test(code))?.fault(place, error) ?? error;
}
