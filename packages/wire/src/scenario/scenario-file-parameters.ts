import { parse } from "yaml";
import { Fault } from "../fault.ts";
import { didYouMean } from "../nearest-name.ts";
import type { DataPath, YamlDocument } from "../yaml/yaml-document.ts";
import { FileMistakes } from "../yaml/yaml-document-mistakes.ts";

type ParameterScalar = string | number | boolean;
export type ScenarioParameter = ParameterScalar | readonly ParameterScalar[];
export type ScenarioParameters = Readonly<Record<string, ScenarioParameter>>;

/**
 * Puts the parameters' values in the place of every `$name` outside `parameters`. A parameter without a default
 * (`source:` and nothing behind it) must be set.
 * @param set values as the user wrote them, by name; read like values in the file, so `5000` is a number and
 * `[kiosk-1, kiosk-2]` a list
 * @throws {Fault} OPTION_INVALID for a name that the file does not have; the document's code for a `$name` without a value
 */
export function fillInParameters(
  document: YamlDocument,
  set: Readonly<Record<string, string>>,
): {
  readonly document: YamlDocument;
  readonly parameters: ScenarioParameters;
} {
  const { parameters: written, ...body } = document.data;
  const declared = new Map(Object.entries(isRecord(written) ? written : {}));
  const values = new Map([...declared].filter((entry): entry is [string, ScenarioParameter] => isParameter(entry[1])));
  for (const [name, text] of Object.entries(set)) {
    if (!declared.has(name)) {
      const known = [...declared.keys()];
      const list = known.length === 0 ? "It has none" : `It has ${known.join(", ")}`;
      throw new Fault("OPTION_INVALID", `${document.file} has no parameter "${name}"`, didYouMean(name, known, list));
    }
    values.set(name, readParameter(name, text));
  }

  const mistakes = new FileMistakes(document);
  const missing = new Set<string>();
  const fill = (value: unknown, path: DataPath): unknown => {
    if (Array.isArray(value)) return value.map((item, index) => fill(item, [...path, index]));
    if (isRecord(value)) {
      return Object.fromEntries(Object.entries(value).map(([key, item]) => [key, fill(item, [...path, key])]));
    }
    const name = typeof value === "string" ? REFERENCE.exec(value)?.[1] : undefined;
    if (name === undefined) return value;
    const filled = values.get(name);
    if (filled !== undefined) return filled;
    if (declared.has(name)) missing.add(name);
    else {
      mistakes.add(
        path,
        `No parameter is called "${name}"`,
        didYouMean(name, declared.keys(), `Add it under "parameters"`),
      );
    }
    return value;
  };
  const filledBody = fill(body, []) as Record<string, unknown>;
  for (const name of missing) {
    const hint = `Give it one here, or with --set ${name}=…`;
    mistakes.add(["parameters", name], `The parameter "${name}" has no value`, hint, "key");
  }
  mistakes.throwIfAny();
  const data = written === undefined ? filledBody : { ...filledBody, parameters: written };
  return {
    document: { ...document, data },
    parameters: Object.fromEntries(values),
  };
}

/** Keeps the YAML reader's memory out of a stranger's hands: a value may reach us over HTTP. */
const MAX_TEXT = 1000;
const REFERENCE = /^\$([A-Za-z][A-Za-z0-9_-]*)$/;

const isRecord = (value: unknown): value is Readonly<Record<string, unknown>> =>
  typeof value === "object" && value !== null && !Array.isArray(value);
const isScalar = (value: unknown): value is ParameterScalar => ["string", "number", "boolean"].includes(typeof value);
const isParameter = (value: unknown): value is ScenarioParameter =>
  isScalar(value) || (Array.isArray(value) && value.every(isScalar));

function readParameter(name: string, text: string): ScenarioParameter {
  let value: unknown = null;
  try {
    if (text.length <= MAX_TEXT)
      value = parse(text, {
        schema: "core",
        merge: false,
        maxAliasCount: 0,
        logLevel: "silent",
      });
  } catch {
    // Not a value of its own: falls through to the fault below.
  }
  if (isParameter(value)) return value;
  throw new Fault(
    "OPTION_INVALID",
    `"${text}" is not a value for the parameter "${name}"`,
    "Write a single value, or a list such as [a, b]",
  );
}
