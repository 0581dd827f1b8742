import type { Static, TSchema } from "@dyetrace/schema";
import { Compile, type Validator } from "@dyetrace/schema/check";
import { Fault, type FaultCode } from "./fault.ts";
import { isSmall, narrowMistake } from "./narrow-mistake.ts";

const compiled = new WeakMap<object, Validator>();

/**
 * Validates data that came from outside, once, at the boundary.
 * @throws {Fault} with the path, the value met and what was expected
 */
export function parseAs<T extends TSchema>(schema: T, value: unknown, code: FaultCode, what: string): Static<T> {
  if (check(schema, value)) return value as Static<T>;
  const mistake = narrowMistake(schema, value, check);
  const [first] = isSmall(mistake.value) ? validatorOf(mistake.schema).Errors(mistake.value)[1] : [];
  const path = `${mistake.path}${first?.instancePath ?? ""}`;
  const where = path === "" ? "" : ` at ${path}`;
  throw new Fault(code, `${what} is not as agreed${where}: ${wordsOf(first)}`, "");
}

/** What the library says of a key that no schema has is no sentence. */
const wordsOf = (error: { readonly keyword: string; readonly message: string } | undefined): string =>
  error === undefined ? "unknown shape" : error.keyword === "boolean" ? "nothing of this name is known" : error.message;

const check = (schema: TSchema, value: unknown): boolean => validatorOf(schema).Check(value);

function validatorOf(schema: TSchema): Validator {
  const known = compiled.get(schema);
  if (known !== undefined) return known;
  const validator = Compile(schema);
  compiled.set(schema, validator);
  return validator;
}
