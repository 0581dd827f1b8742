import { existsSync, mkdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { PIN_FORM } from "@dyetrace/pin";
import Type from "@dyetrace/schema";
import { Fault, parseAs } from "@dyetrace/wire";
import { cannotRead } from "@dyetrace/wire/command-line/file-fault";
import { underLock } from "../files/under-lock.ts";
import { writeWhole } from "../files/write-whole.ts";

/** What this host keeps after it was enrolled: where its controller is, how to know it, and its own credential. */
export interface Credential {
  readonly controller: string;
  /** Of today's key, and of the one that follows it. Null: without TLS, or signed by somebody whom this host trusts. */
  readonly pin: string | null;
  /** Other controllers of the same estate, where the same credential opens. */
  readonly others?: readonly { readonly controller: string; readonly pin: string | null }[];
  readonly name: string;
  readonly credential: string;
  /** When that ends, ISO 8601; absent: the controller that made it set no end. */
  readonly until?: string;
  /** The credential before, for as long as the controller may not know that this host has the newer one. */
  readonly previous?: string;
}

const Secret = Type.String({ maxLength: 256 });
const OthersSchema = Type.Array(
  Type.Object({
    controller: Type.String({ maxLength: 512 }),
    pin: Type.Union([Type.String({ pattern: PIN_FORM.source }), Type.Null()]),
  }),
  { maxItems: 16 },
);
/** Controllers of earlier versions set no end, and one that is alone knows of no others. */
const Issued = {
  credential: Secret,
  until: Type.Optional(Type.String({ maxLength: 40 })),
  others: Type.Optional(OthersSchema),
};
const IssuedSchema = Type.Object(Issued);
const CredentialSchema = Type.Object({
  ...Issued,
  controller: Type.String({ maxLength: 512 }),
  pin: Type.Union([Type.String({ pattern: PIN_FORM.source }), Type.Null()]),
  name: Type.String({ pattern: "^[A-Za-z0-9][A-Za-z0-9._-]{0,62}$" }),
  previous: Type.Optional(Secret),
});

/** What a controller hands over when a host enrols. @throws {Fault} MESSAGE_INVALID */
export const parseIssued = (answer: unknown): Pick<Credential, "credential" | "until" | "others"> =>
  parseAs(IssuedSchema, answer, "MESSAGE_INVALID", "The controller's answer");

const fileIn = (folder: string): string => path.join(folder, "controller.json");

/** @returns null where this host was never enrolled @throws {Fault} AGENT_CONFIG_INVALID, FILE_UNREADABLE */
export function readCredential(folder: string): Credential | null {
  const file = fileIn(folder);
  if (!existsSync(file)) return null;
  let text: string;
  try {
    text = readFileSync(file, "utf8");
  } catch (cause) {
    throw cannotRead(file, cause);
  }
  let data: unknown;
  try {
    data = JSON.parse(text);
  } catch (cause) {
    throw new Fault("AGENT_CONFIG_INVALID", `${file} is damaged`, "Enrol this host again", { cause });
  }
  return parseAs(CredentialSchema, data, "AGENT_CONFIG_INVALID", file);
}

/** Readable by its owner alone. @throws {Fault} FILE_UNREADABLE */
export function keepCredential(folder: string, credential: Credential): void {
  keep(folder, () => credential);
}

/** Other pins, and all else as it stands there by then. @throws {Fault} FILE_UNREADABLE, AGENT_CONFIG_INVALID */
export function keepPin(folder: string, pin: string): void {
  keep(folder, () => ({ ...standing(folder), pin }));
}

/**
 * Another credential, with the one that is in use beside it: on the disk once this returns, and not at all if it throws.
 * @throws {Fault} FILE_UNREADABLE, AGENT_CONFIG_INVALID
 */
export function keepNewCredential(folder: string, credential: string, until: string, previous: string): void {
  keep(folder, () => ({ ...standing(folder), credential, until, previous }));
}

function standing(folder: string): Credential {
  const kept = readCredential(folder);
  if (kept === null)
    throw new Fault("FILE_UNREADABLE", `There is no ${fileIn(folder)} any more`, "Enrol this host again");
  return kept;
}

function keep(folder: string, next: () => Credential): void {
  const file = fileIn(folder);
  try {
    mkdirSync(folder, { recursive: true, mode: 0o700 });
    underLock(file, () => writeWhole(file, `${JSON.stringify(next())}\n`));
  } catch (cause) {
    if (cause instanceof Fault) throw cause;
    throw new Fault(
      "FILE_UNREADABLE",
      `Cannot keep this host's credential in ${file}: ${(cause as NodeJS.ErrnoException).code}`,
      "Name another folder with --data",
      { cause },
    );
  }
}
