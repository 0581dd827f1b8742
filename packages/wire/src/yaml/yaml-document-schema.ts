import type { Static, TSchema } from "@dyetrace/schema";
import { Check } from "@dyetrace/schema/check";
import { didYouMean, nearestName } from "../nearest-name.ts";
import type { DataPath, YamlDocument } from "./yaml-document.ts";
import { FileMistakes } from "./yaml-document-mistakes.ts";

/**
 * Holds a file's data against its schema. TypeBox decides what is valid; what follows here only finds the words.
 *
 * Write the schema so that its mistakes read well: give each value a `description` that completes "must be …" (`a rate
 * such as 4 Mbit/s`), close objects with `additionalProperties: false`, and let the branches of a union of objects
 * differ in a literal or in their keys.
 * @returns the data, typed
 * @throws {Fault} the document's code, with the place of the first mistake in file order and the rest in `others`
 */
export function checkAgainstSchema<S extends TSchema>(document: YamlDocument, schema: S): Static<S> {
  const { data } = document;
  if (Check(schema, data)) return data as Static<S>;
  const mistakes = new FileMistakes(document);
  explain(schema as Shape, data, [], mistakes);
  if (mistakes.isEmpty)
    mistakes.add([], "This file does not have the expected shape", "Compare it with the shipped examples");
  mistakes.throwIfAny();
  throw new Error("unreachable: a mistake was added above");
}

/** The part of JSON Schema that our file schemas use. */
interface Shape extends TSchema {
  readonly type?: string;
  readonly description?: string;
  readonly const?: unknown;
  readonly anyOf?: readonly Shape[];
  readonly properties?: Readonly<Record<string, Shape>>;
  readonly patternProperties?: Readonly<Record<string, Shape>>;
  readonly required?: readonly string[];
  readonly additionalProperties?: boolean;
  readonly items?: Shape;
  readonly minItems?: number;
  readonly maxItems?: number;
}

function explain(shape: Shape, value: unknown, path: DataPath, mistakes: FileMistakes): void {
  if (mistakes.isEnough || Check(shape, value)) return;
  if (shape.anyOf !== undefined) explainUnion(shape, shape.anyOf, value, path, mistakes);
  else if (shape.type === "object" && isObject(value)) explainObject(shape, value, path, mistakes);
  else if (shape.type === "array" && Array.isArray(value)) explainList(shape, value, path, mistakes);
  else mistakes.add(path, `${subject(path)} must be ${expected(shape)}, ${found(value)}`, "");
}

function explainObject(
  shape: Shape,
  value: Readonly<Record<string, unknown>>,
  path: DataPath,
  mistakes: FileMistakes,
): void {
  const properties = shape.properties ?? {};
  const patterns = Object.entries(shape.patternProperties ?? {}).map(
    ([pattern, ruled]) => [ruled, new RegExp(pattern)] as const,
  );
  const misspelt = new Set<string | null>();
  for (const [name, child] of Object.entries(value)) {
    const known = Object.hasOwn(properties, name) ? properties[name] : undefined;
    const ruling = known ?? patterns.find(([, pattern]) => pattern.test(name))?.[0];
    if (ruling !== undefined) explain(ruling, child, [...path, name], mistakes);
    else if (patterns.length > 0) mistakes.add([...path, name], `"${name}" cannot be a name here`, "", "key");
    else if (shape.additionalProperties === false) {
      const names = Object.keys(properties);
      const hint = didYouMean(name, names, `Keys that belong here: ${names.join(", ")}`);
      mistakes.add([...path, name], `"${name}" is not a key that belongs here`, hint, "key");
      misspelt.add(nearestName(name, names));
    }
  }
  for (const name of shape.required ?? []) {
    if (Object.hasOwn(value, name) || misspelt.has(name)) continue; // a misspelt key is one mistake, not two
    const child = properties[name];
    mistakes.add(path, `The key "${name}" is missing here`, child === undefined ? "" : `It must be ${expected(child)}`);
  }
}

function explainList(shape: Shape, value: readonly unknown[], path: DataPath, mistakes: FileMistakes): void {
  const { minItems = 0, maxItems = Number.POSITIVE_INFINITY } = shape;
  if (value.length < minItems || value.length > maxItems) {
    const bound = value.length < minItems ? minItems : maxItems;
    const how = minItems === maxItems ? "exactly" : value.length < minItems ? "at least" : "at most";
    const size = `${how} ${bound} ${bound === 1 ? "entry" : "entries"}`;
    mistakes.add(path, `${subject(path)} must have ${size}, not ${value.length}`, "");
  }
  for (const [index, item] of value.entries()) {
    if (shape.items !== undefined) explain(shape.items, item, [...path, index], mistakes);
  }
}

/** More than so many are listed once, after the sentence. */
const MOST_WORDS = 8;

function explainUnion(
  shape: Shape,
  branches: readonly Shape[],
  value: unknown,
  path: DataPath,
  mistakes: FileMistakes,
): void {
  const telling = isObject(value) ? tellingKey(branches) : null;
  if (telling !== null && isObject(value) && Object.hasOwn(value, telling)) {
    const kinds = branches.map((branch) => branch.properties?.[telling] ?? {});
    // Which branch is meant is not known: all kinds are named, and nothing of one is asked for.
    if (!kinds.some((kind) => kind.const === value[telling])) {
      explainUnion({}, kinds, value[telling], [...path, telling], mistakes);
      return;
    }
  }
  const words = branches.map((branch) => String(branch.const));
  const branch = nearestBranch(branches, value);
  if (branches.every((candidate) => candidate.const !== undefined)) {
    const list = `Write one of ${words.join(", ")}`;
    const nearest = typeof value === "string" ? nearestName(value, words) : null;
    const isLong = words.length > MOST_WORDS;
    const which = isLong ? `one of ${words.length} words` : oneOf(words);
    const hint = nearest === null ? list : `Did you mean "${nearest}"?${isLong ? ` ${list}` : ""}`;
    mistakes.add(path, `${subject(path)} must be ${which}, ${found(value)}`, hint);
  } else if (branch !== null) explain(branch, value, path, mistakes);
  else mistakes.add(path, `${subject(path)} must be ${expected(shape)}, ${found(value)}`, "");
}

/** @returns the key whose literal tells the branches of a union of objects apart; null: there is none */
function tellingKey(branches: readonly Shape[]): string | null {
  const keys = Object.keys(branches[0]?.properties ?? {});
  const tells = (key: string): boolean => branches.every(({ properties }) => properties?.[key]?.const !== undefined);
  return branches.length > 1 ? (keys.find(tells) ?? null) : null;
}

/** @returns the branch of a union that the user most likely meant; null when no branch is of the value's type */
function nearestBranch(branches: readonly Shape[], value: unknown): Shape | null {
  if (Array.isArray(value)) return branches.find((branch) => branch.type === "array") ?? null;
  if (!isObject(value)) return branches.find((branch) => branch.type === typeof value) ?? null;
  const likeness = (branch: Shape): number =>
    Object.entries(branch.properties ?? {}).reduce((sum, [name, child]) => {
      if (!Object.hasOwn(value, name)) return sum;
      if (child.const === undefined) return sum + 1;
      return sum + (child.const === value[name] ? 100 : -100);
    }, 0);
  const objects = branches.filter((branch) => branch.type === "object");
  return objects.toSorted((a, b) => likeness(b) - likeness(a))[0] ?? null;
}

const isObject = (value: unknown): value is Readonly<Record<string, unknown>> =>
  typeof value === "object" && value !== null && !Array.isArray(value);

function subject(path: DataPath): string {
  const last = path.at(-1);
  return typeof last === "string" ? `"${last}"` : "This entry";
}

function expected(shape: Shape): string {
  if (shape.description !== undefined) return shape.description;
  if (shape.const !== undefined) return `"${String(shape.const)}"`;
  if (shape.anyOf !== undefined) return oneOf(shape.anyOf.map(expected));
  switch (shape.type) {
    case "string":
      return "text";
    case "integer":
      return "a whole number";
    case "number":
      return "a number";
    case "boolean":
      return "true or false";
    case "array":
      return "a list";
    case "object":
      return "keys with values";
    default:
      return "something else";
  }
}

const oneOf = (words: readonly string[]): string =>
  words.length < 2 ? (words[0] ?? "nothing") : `${words.slice(0, -1).join(", ")} or ${words.at(-1)}`;

function found(value: unknown): string {
  if (value === null) return "and nothing is written here";
  if (Array.isArray(value)) return "not a list";
  if (isObject(value)) return "not a set of keys";
  return typeof value === "string"
    ? `not "${value.length > 60 ? `${value.slice(0, 59)}…` : value}"`
    : `not ${String(value)}`;
}
