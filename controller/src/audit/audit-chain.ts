import { createHash } from "node:crypto";
import Type from "@dyetrace/schema";
import { Fault, parseAs } from "@dyetrace/wire";
import type { AuditEntry } from "@dyetrace/wire/console/console-session";

/** An entry as it stands in the file, a JSON object a line. */
export interface ChainedEntry extends AuditEntry {
  /** Counts from 1 on and goes on through the files. */
  readonly number: number;
  /** Hash of the entry before; of the first one `NOTHING_BEFORE`. */
  readonly previous: string;
  /** SHA-256 in hexadecimal of this entry without it, `previous` included: no entry can be changed or taken out unseen. */
  readonly hash: string;
}

export const NOTHING_BEFORE: string = "0".repeat(64);

const Hash = Type.String({ pattern: "^[0-9a-f]{64}$" });
const ChainedEntrySchema = Type.Object({
  number: Type.Integer({ minimum: 1 }),
  at: Type.String(),
  who: Type.String(),
  from: Type.String(),
  what: Type.String(),
  previous: Hash,
  hash: Hash,
});

/** @param last the entry before; null where there is none */
export function chainOn(last: Pick<ChainedEntry, "number" | "hash"> | null, entry: AuditEntry): ChainedEntry {
  const { at, who, from, what } = entry;
  const bare = { number: (last?.number ?? 0) + 1, at, who, from, what, previous: last?.hash ?? NOTHING_BEFORE };
  return { ...bare, hash: hashOf(bare) };
}

/** @returns null for a line of an earlier version, or one that was not written whole */
export function readChained(line: string): ChainedEntry | null {
  try {
    return parseAs(ChainedEntrySchema, JSON.parse(line), "MESSAGE_INVALID", "The entry");
  } catch (error) {
    if (error instanceof Fault || error instanceof SyntaxError) return null;
    throw error;
  }
}

export interface ChainCheck {
  /** Entries that hang together with those beside them. */
  readonly entries: number;
  /** Lines before the chain began: entries of an earlier version. */
  readonly before: number;
  /** Number of the first entry that is kept; null: none. Those before it were in files that are gone. */
  readonly firstNumber: number | null;
  /** Number and hash of the last: whoever has noted them elsewhere can see later whether the end was taken off. */
  readonly last: Pick<ChainedEntry, "number" | "hash"> | null;
  /** A sentence for each place where the chain is broken. */
  readonly breaks: readonly string[];
}

/** Sentences of a check: a file that was replaced is broken everywhere. */
const MOST_BREAKS = 20;

/** Holds one line after the other against those before it. */
export interface ChainChecker {
  /** @param line not empty; of all files, oldest first */
  take(line: string): void;
  told(): ChainCheck;
}

export function chainChecker(): ChainChecker {
  const breaks: string[] = [];
  const say = (sentence: string): void => void (breaks.length < MOST_BREAKS && breaks.push(sentence));
  let [entries, before, at] = [0, 0, 0];
  let first: ChainedEntry | null = null;
  let last: ChainedEntry | null = null;
  const take = (line: string): void => {
    at++;
    const entry = readChained(line);
    if (entry === null) {
      if (last === null) before++;
      else say(`line ${at} is no whole entry: the machine stopped as it was written, or it was changed`);
      return;
    }
    entries++;
    const { hash, ...bare } = entry;
    if (hashOf(bare) !== hash) say(`entry ${entry.number} (line ${at}) was changed after it was written`);
    if (last !== null && (entry.previous !== last.hash || entry.number !== last.number + 1)) {
      say(`entry ${entry.number} (line ${at}) does not follow entry ${last.number}: something was taken out or put in`);
    }
    if (last === null && before > 0 && entry.number !== 1)
      say(`entry ${entry.number} (line ${at}) does not begin a chain`);
    first ??= entry;
    last = entry;
  };
  const told = (): ChainCheck => ({
    entries,
    before,
    firstNumber: first?.number ?? null,
    last: last === null ? null : { number: last.number, hash: last.hash },
    breaks,
  });
  return { take, told };
}

/** @param lines of all files, oldest first, without empty ones */
export function checkChain(lines: Iterable<string>): ChainCheck {
  const checker = chainChecker();
  for (const line of lines) checker.take(line);
  return checker.told();
}

function hashOf({ number, at, who, from, what, previous }: Omit<ChainedEntry, "hash">): string {
  return createHash("sha256")
    .update(JSON.stringify([previous, number, at, who, from, what]))
    .digest("hex");
}
