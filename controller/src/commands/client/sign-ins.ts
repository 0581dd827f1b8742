import { mkdirSync, readFileSync } from "node:fs";
import { homedir } from "node:os";
import path from "node:path";
import { Fault } from "@dyetrace/wire";
import { writeWhole } from "../../files/write-whole.ts";

/** How this user is known at a controller, and how that one is known here. */
export interface SignIn {
  readonly pin: string | null;
  readonly token: string | null;
}

/** In the user's own configuration (XDG Base Directory Specification), readable by nobody else. */
const file = (): string =>
  path.join(process.env["XDG_CONFIG_HOME"] ?? path.join(homedir(), ".config"), "dyetrace", "sign-ins.json");

function read(): Record<string, SignIn> {
  try {
    return JSON.parse(readFileSync(file(), "utf8")) as Record<string, SignIn>;
  } catch {
    return {}; // nobody has signed in yet
  }
}

function write(all: Record<string, SignIn>): void {
  mkdirSync(path.dirname(file()), { recursive: true, mode: 0o700 });
  writeWhole(file(), `${JSON.stringify(all, null, 1)}\n`, { mode: 0o600 });
}

const keyOf = (url: string): string => new URL(url).origin;

/** As this user has signed in; a token that the environment holds comes before that. @throws {Fault} OPTION_INVALID */
export function signInOf(url: string): SignIn {
  const kept = read()[keyOf(url)] ?? { pin: null, token: null };
  const given = process.env["DYETRACE_TOKEN"];
  return given === undefined || given === "" ? kept : { ...kept, token: checkToken(given, "DYETRACE_TOKEN") };
}

/** @param from what holds it; the text itself is told to nobody @throws {Fault} OPTION_INVALID */
export function checkToken(text: string, from: string): string {
  const token = text.trim();
  if (/^[A-Za-z0-9_-]{1,256}$/.test(token)) return token;
  throw new Fault("OPTION_INVALID", `${from} holds no token`, "One line, as `dyetrace token add` printed it");
}

export const keepSignIn = (url: string, signIn: SignIn): void => write({ ...read(), [keyOf(url)]: signIn });

export function forgetSignIn(url: string): void {
  const { [keyOf(url)]: _gone, ...rest } = read();
  write(rest);
}
