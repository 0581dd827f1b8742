import { existsSync, mkdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { PIN_FORM } from "@dyetrace/pin";
import Type from "@dyetrace/schema";
import { Fault, parseAs } from "@dyetrace/wire";
import { writeWhole } from "../files/write-whole.ts";

/** What this host keeps after it was enrolled: where its controller is, how to know it, and its own credential. */
export interface Credential {
  readonly controller: string;
  /** Of today's key, and of the one that follows it. Null: without TLS, or signed by somebody whom this host trusts. */
  readonly pin: string | null;
  readonly name: string;
  readonly credential: string;
}

const schema = (): Type.TObject<{
  controller: Type.TString;
  pin: Type.TUnion<[Type.TString, Type.TNull]>;
  name: Type.TString;
  credential: Type.TString;
}> =>
  Type.Object({
    controller: Type.String({ maxLength: 512 }),
    pin: Type.Union([Type.String({ pattern: PIN_FORM.source }), Type.Null()]),
    name: Type.String({ pattern: "^[A-Za-z0-9][A-Za-z0-9._-]{0,62}$" }),
    credential: Type.String({ maxLength: 256 }),
  });

const fileIn = (folder: string): string => path.join(folder, "controller.json");

/** @returns null where this host was never enrolled @throws {Fault} AGENT_CONFIG_INVALID, FILE_UNREADABLE */
export function readCredential(folder: string): Credential | null {
  const file = fileIn(folder);
  if (!existsSync(file)) return null;
  let text: string;
  try {
    text = readFileSync(file, "utf8");
  } catch (cause) {
    throw new Fault("FILE_UNREADABLE", `Cannot read ${file}: ${(cause as NodeJS.ErrnoException).code}`, "", { cause });
  }
  let data: unknown;
  try {
    data = JSON.parse(text);
  } catch (cause) {
    throw new Fault("AGENT_CONFIG_INVALID", `${file} is damaged`, "Enrol this host again", { cause });
  }
  return parseAs(schema(), data, "AGENT_CONFIG_INVALID", file);
}

/** Readable by its owner alone. @throws {Fault} FILE_UNREADABLE */
export function keepCredential(folder: string, credential: Credential): void {
  const file = fileIn(folder);
  try {
    mkdirSync(folder, { recursive: true, mode: 0o700 });
    writeWhole(file, `${JSON.stringify(credential)}\n`);
  } catch (cause) {
    throw new Fault(
      "FILE_UNREADABLE",
      `Cannot keep this host's credential in ${file}: ${(cause as NodeJS.ErrnoException).code}`,
      "Name another folder with --data",
      { cause },
    );
  }
}
