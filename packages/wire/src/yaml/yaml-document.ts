import { isAlias, isMap, isScalar, isSeq, LineCounter, type ParsedNode } from "yaml";
import { Fault, type FaultCode, type FilePlace } from "../fault.ts";
import { findDeepNesting } from "./yaml-document-nesting.ts";
import { explainYamlProblem } from "./yaml-document-problem.ts";
import { parseToFirstMistake } from "./yaml-first-broken.ts";

/** Keys and positions from the top of a document to a value: `["links", 3, "to"]`. */
export type DataPath = readonly (string | number)[];

/** A YAML file as plain data, with the way back from every value to its line and column. */
export interface YamlDocument {
  /** As given by the caller; it appears in every fault. */
  readonly file: string;
  /** The code that mistakes in this file bear. */
  readonly code: FaultCode;
  /** Objects, arrays, strings, numbers, booleans and nulls. The top level is always an object. */
  readonly data: Readonly<Record<string, unknown>>;
  /** @returns where the value stands, or the innermost value around it where `path` leads nowhere */
  readonly placeOf: (path: DataPath) => FilePlace;
  /** @returns where the key stands that `path` ends in; for the entry of a list, where the entry stands */
  readonly placeOfKey: (path: DataPath) => FilePlace;
}

/** Far above any real plan, far below what would hurt. */
const MAX_CHARACTERS = 1_000_000;
const MAX_NESTING = 64;
/** Counted with every use of an alias, so that a few lines cannot unfold into millions of values. */
const MAX_VALUES = 200_000;

/**
 * Reads one YAML 1.2 document with unique keys and no tags of its own, no merge keys, bounded in size, nesting and
 * aliases.
 * @param text the file's text, or its bytes (UTF-8)
 * @param code what the faults about this file are called, for example `SITE_PLAN_INVALID`
 * @throws {Fault} `code`, with the place of the first mistake
 */
export function readYamlDocument(text: string | Uint8Array, file: string, code: FaultCode): YamlDocument {
  const lines = new LineCounter();
  const placeAt = (offset: number): FilePlace => {
    const { line, col } = lines.linePos(offset);
    return { file, line: Math.max(line, 1), column: Math.max(col, 1) };
  };
  const fail = (offset: number, message: string, hint: string): never => {
    throw new Fault(code, message, hint, { place: placeAt(offset) });
  };

  const source = typeof text === "string" ? text : decodeUtf8(text);
  if (source === null || source.includes("\0") || source.includes("\ufffd")) {
    return fail(0, "This is not a text file in UTF-8", "Save it as plain text in UTF-8, or name another file");
  }
  if (source.length > MAX_CHARACTERS) {
    return fail(0, `This file has more than ${MAX_CHARACTERS} characters`, "Split it, or name another file");
  }
  const tooDeepAt = findDeepNesting(source, MAX_NESTING);
  if (tooDeepAt !== null) {
    addLineStarts(lines, source);
    return fail(tooDeepAt, `Values are nested more than ${MAX_NESTING} deep here`, "Check the brackets and dashes");
  }

  const { document, problem } = parseToFirstMistake(source, lines);
  if (problem !== null) {
    const { message, hint } = explainYamlProblem(problem.code, problem.message);
    return fail(problem.at, message, hint);
  }
  if (document.directives?.yaml.explicit === true) {
    return fail(0, "Directives (`%YAML`) are not used in this file", "Remove the lines down to the `---`");
  }
  const top = document.contents;
  if (top === null || (isScalar(top) && top.value === null)) {
    return fail(0, "This file is empty", "Write at least the keys that it must have, or name another file");
  }
  if (!isMap(top)) {
    const found = isSeq(top) ? "a list" : "a single value";
    return fail(
      top.range[0],
      `This file holds ${found} where keys are expected`,
      "Begin with a key and a colon in the first column",
    );
  }

  let values = 0;
  // The library's own `Alias.resolve` walks the whole document each time.
  const anchors = new Map<string, ParsedNode>();
  const unfolding = new Set<ParsedNode>();
  /** Turns the syntax tree into data and places. The nesting is bounded above, an alias inside its anchor below. */
  const build = (node: ParsedNode | null, fallbackAt: number, depth: number): Placed => {
    const at = node?.range[0] ?? fallbackAt;
    if (++values > MAX_VALUES)
      return fail(at, `This file unfolds into more than ${MAX_VALUES} values`, "Use fewer *aliases");
    if (depth > MAX_NESTING)
      return fail(at, `Values are nested more than ${MAX_NESTING} deep here`, "Use fewer levels");
    if (node === null) return { value: null, at, keyAt: at, children: null };
    if (isAlias(node)) {
      const target = anchors.get(node.source);
      if (target === undefined) return fail(at, `Nothing is marked &${node.source} above`, "Write the value out");
      if (unfolding.has(target)) return fail(at, `The value marked &${node.source} contains itself`, "Write it out");
      unfolding.add(target);
      const placed = { ...build(target, at, depth + 1), at, keyAt: at };
      unfolding.delete(target);
      return placed;
    }
    if (node.anchor !== undefined) {
      if ((anchors.get(node.anchor) ?? node) !== node) {
        return fail(at, `A second value is marked &${node.anchor}`, "Give it another mark");
      }
      anchors.set(node.anchor, node);
    }
    if (isScalar(node)) return { value: node.value, at, keyAt: at, children: null };
    const children = new Map<string | number, Placed>();
    if (isSeq(node)) {
      for (const [index, item] of node.items.entries())
        children.set(index, build(item as ParsedNode | null, at, depth + 1));
      return {
        value: [...children.values()].map((child) => child.value),
        at,
        keyAt: at,
        children,
      };
    }
    for (const { key, value } of node.items) {
      const keyAt = key?.range[0] ?? at;
      if (!isScalar(key) || key.value === null)
        return fail(keyAt, "A key must be a single word or text", "Write `key: value`");
      const name = String(key.value);
      if (children.has(name))
        return fail(keyAt, `"${name}" stands here a second time`, "Remove or rename one of the two");
      children.set(name, { ...build(value, key.range[1], depth + 1), keyAt });
    }
    const value = Object.fromEntries([...children].map(([name, child]) => [name, child.value]));
    return { value, at, keyAt: at, children };
  };

  const root = build(top, 0, 0);
  const find = (path: DataPath): { readonly placed: Placed; readonly isWhole: boolean } => {
    let placed = root;
    for (const step of path) {
      const child = placed.children?.get(step);
      if (child === undefined) return { placed, isWhole: false };
      placed = child;
    }
    return { placed, isWhole: true };
  };
  return {
    file,
    code,
    data: root.value as Record<string, unknown>,
    placeOf: (path) => placeAt(find(path).placed.at),
    placeOfKey: (path) => {
      const { placed, isWhole } = find(path);
      return placeAt(isWhole ? placed.keyAt : placed.at);
    },
  };
}

/** A value with its offset in the text. */
interface Placed {
  readonly value: unknown;
  readonly at: number;
  /** Where its key stands; `at` for entries of a list. */
  readonly keyAt: number;
  readonly children: ReadonlyMap<string | number, Placed> | null;
}

/** In every runtime of ours (WHATWG Encoding Standard), but not in the ECMAScript library that pure packages compile against. */
declare const TextDecoder: new (label: "utf-8", options: { fatal: true }) => { decode(bytes: Uint8Array): string };

/** @returns null if the bytes are not UTF-8 */
function decodeUtf8(bytes: Uint8Array): string | null {
  try {
    return new TextDecoder("utf-8", { fatal: true }).decode(bytes);
  } catch {
    return null;
  }
}

/** Before parsing nothing has filled the counter. */
function addLineStarts(lines: LineCounter, source: string): void {
  lines.addNewLine(0);
  for (let at = source.indexOf("\n"); at >= 0; at = source.indexOf("\n", at + 1)) lines.addNewLine(at + 1);
}
