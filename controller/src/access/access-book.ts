import { existsSync, mkdirSync, readFileSync, statSync } from "node:fs";
import path from "node:path";
import { PIN_FORM } from "@dyetrace/pin";
import Type from "@dyetrace/schema";
import { Fault, parseAs } from "@dyetrace/wire";
import { RoleSchema } from "@dyetrace/wire/console/console-session";
import { underLock } from "../files/under-lock.ts";
import { writeWhole } from "../files/write-whole.ts";
import { type AccessRecords, AGENT_NAME, OPERATOR_NAME } from "./access-records.ts";
import { MOST_HOSTS } from "./enrol-keys.ts";

const Instant = Type.String({ maxLength: 40 });
const Id = Type.String({ pattern: "^[0-9a-f]{16}$" });
const Hash = Type.String({ maxLength: 256 });
const AgentName = Type.String({ pattern: AGENT_NAME });
const Credential = { id: Id, secret: Hash };
const AccessFileSchema = Type.Object({
  version: Type.Literal(1),
  operators: Type.Array(
    Type.Object({
      name: Type.String({ pattern: OPERATOR_NAME }),
      role: RoleSchema,
      password: Hash,
      since: Instant,
    }),
  ),
  agents: Type.Array(
    Type.Object({
      ...Credential,
      name: AgentName,
      since: Instant,
      from: Type.String({ maxLength: 64 }),
      until: Type.Optional(Instant),
      next: Type.Optional(Type.Object({ ...Credential, until: Instant })),
      old: Type.Optional(Type.Object({ ...Credential, at: Instant })),
      isRotationDue: Type.Optional(Type.Boolean()),
    }),
  ),
  enrolKeys: Type.Array(
    Type.Object({
      id: Id,
      secret: Hash,
      name: Type.Union([AgentName, Type.Null()]),
      hostsLeft: Type.Optional(Type.Integer({ minimum: 1, maximum: MOST_HOSTS })),
      names: Type.Optional(Type.Array(AgentName, { maxItems: MOST_HOSTS })),
      until: Instant,
      by: Type.String({ maxLength: 64 }),
    }),
  ),
  /** Earlier versions had none. */
  tokens: Type.Optional(
    Type.Array(
      Type.Object({
        ...Credential,
        name: Type.String({ pattern: OPERATOR_NAME }),
        scope: RoleSchema,
        since: Instant,
        until: Type.Union([Instant, Type.Null()]),
        by: Type.String({ maxLength: 200 }),
        operator: Type.Union([
          Type.Object({ name: Type.String({ pattern: OPERATOR_NAME }), since: Instant }),
          Type.Null(),
        ]),
      }),
    ),
  ),
  /** As above. */
  controllers: Type.Optional(
    Type.Array(
      Type.Object({
        url: Type.String({ maxLength: 512 }),
        pin: Type.Union([Type.String({ pattern: PIN_FORM.source }), Type.Null()]),
        seen: Instant,
      }),
    ),
  ),
});
const NOTHING: AccessRecords = { operators: [], agents: [], enrolKeys: [], tokens: [], controllers: [] };

/** The same text where several controllers share it: see the store's `SharedAccess`. */
export interface SharedText {
  readonly text: string | null;
  readonly version: number;
  change(edit: (text: string | null) => string): void;
}

/**
 * Who may do what, kept in one file of the data folder, which its owner alone may read. A command on the same machine may
 * change the file under a running controller: every look reads it again if it is another one than before.
 */
export class AccessBook {
  readonly #file: string | null;
  readonly #shared: SharedText | null;
  readonly #onTrouble: (fault: Fault) => void;
  #records: AccessRecords = NOTHING;
  #stamp = "";

  /**
   * @param place a folder, or what controllers share; null keeps everything in memory
   * @param onTrouble told when the file can no longer be read; what was last read holds on
   * @throws {Fault} ACCESS_INVALID where it cannot be read at the start
   */
  constructor(place: string | SharedText | null, onTrouble: (fault: Fault) => void = () => {}) {
    this.#file = typeof place === "string" ? path.join(place, "access.json") : null;
    this.#shared = typeof place === "object" ? place : null;
    this.#onTrouble = onTrouble;
    if (this.#shared !== null && this.#shared.text !== null) {
      this.#records = parse(this.#shared.text, SHARED);
      this.#stamp = String(this.#shared.version);
    }
    const stamp = this.#file === null ? null : stampOf(this.#file);
    if (this.#file === null || stamp === null) return;
    this.#records = read(this.#file);
    this.#stamp = stamp;
  }

  get records(): AccessRecords {
    this.#refresh();
    return this.#records;
  }

  /**
   * One change at a time, whichever program makes it: what `edit` is handed is what stands in the file.
   * @param edit what it throws is thrown on, and nothing has changed
   * @throws {Fault} FILE_UNREADABLE where it cannot be kept, ACCESS_INVALID where it cannot be read; then nothing has changed
   */
  change(edit: (records: AccessRecords) => Partial<AccessRecords>): void {
    if (this.#shared !== null) {
      this.#changeShared(this.#shared, edit);
      return;
    }
    const file = this.#file;
    if (file === null) {
      this.#records = { ...this.#records, ...edit(this.#records) };
      return;
    }
    try {
      mkdirSync(path.dirname(file), { recursive: true, mode: 0o700 });
      this.#records = underLock(file, () => {
        const now = existsSync(file) ? read(file) : this.#records;
        const next = { ...now, ...edit(now) };
        writeWhole(file, textOf(next), { mode: 0o600, isFolderOwners: true });
        this.#stamp = stampOf(file) ?? "";
        return next;
      });
    } catch (cause) {
      if (cause instanceof Fault) throw cause;
      throw new Fault(
        "FILE_UNREADABLE",
        `Cannot keep who may do what in ${file}: ${(cause as NodeJS.ErrnoException).code ?? String(cause)}`,
        "See that there is room and that the controller may write there",
        { cause },
      );
    }
  }

  #changeShared(shared: SharedText, edit: (records: AccessRecords) => Partial<AccessRecords>): void {
    try {
      shared.change((text) => {
        const now = text === null ? NOTHING : parse(text, SHARED);
        return textOf({ ...now, ...edit(now) });
      });
    } catch (cause) {
      if (cause instanceof Fault) throw cause;
      throw new Fault(
        "STORE_UNREACHABLE",
        `Who may do what could not be changed in ${SHARED}: ${(cause as Error).message}`,
        "See that the database answers, and try again",
        { cause },
      );
    }
    this.#refresh();
  }

  #refresh(): void {
    const stamp = this.#file === null ? this.#sharedStamp() : stampOf(this.#file);
    if (stamp === null || stamp === this.#stamp) return;
    this.#stamp = stamp;
    try {
      this.#records = this.#file === null ? parse(this.#shared?.text ?? "", SHARED) : read(this.#file);
    } catch (error) {
      if (!(error instanceof Fault)) throw error;
      this.#onTrouble(error);
    }
  }

  #sharedStamp(): string | null {
    return this.#shared === null || this.#shared.text === null ? null : String(this.#shared.version);
  }
}

const SHARED = "the database that controllers share";

const textOf = (records: AccessRecords): string => `${JSON.stringify({ version: 1, ...records }, null, 1)}\n`;

/** Every change puts another file in the place of the old one. @returns null where there is none */
function stampOf(file: string): string | null {
  const stat = statSync(file, { throwIfNoEntry: false });
  return stat === undefined ? null : `${stat.ino} ${stat.mtimeMs} ${stat.size}`;
}

function read(file: string): AccessRecords {
  let text: string;
  try {
    text = readFileSync(file, "utf8");
  } catch (cause) {
    throw new Fault("ACCESS_INVALID", `Cannot read who may do what from ${file}: ${String(cause)}`, MEND, { cause });
  }
  return parse(text, file);
}

function parse(text: string, from: string): AccessRecords {
  let data: unknown;
  try {
    data = JSON.parse(text);
  } catch (cause) {
    throw new Fault("ACCESS_INVALID", `Cannot read who may do what from ${from}: ${String(cause)}`, MEND, { cause });
  }
  const known = parseAs(AccessFileSchema, data, "ACCESS_INVALID", from);
  const { operators, agents, enrolKeys, tokens = [], controllers = [] } = known;
  return { operators, agents, enrolKeys, tokens, controllers };
}

const MEND = "Put it back from a backup, or remove it and enrol agents and operators anew";
