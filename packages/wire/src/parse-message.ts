import type { Static, TSchema } from "@dyetrace/schema";
import { Compile, type Validator } from "@dyetrace/schema/check";
import { Fault, type FaultCode } from "./fault.ts";

const compiled = new WeakMap<object, Validator>();

/**
 * Validates data that came from outside, once, at the boundary.
 * @throws {Fault} with the path, the value met and what was expected
 */
export function parseAs<T extends TSchema>(schema: T, value: unknown, code: FaultCode, what: string): Static<T> {
  let validator = compiled.get(schema);
  if (validator === undefined) {
    validator = Compile(schema);
    compiled.set(schema, validator);
  }
  if (validator.Check(value)) return value as Static<T>;
  const [first] = validator.Errors(value)[1];
  const path = first === undefined || first.instancePath === "" ? "" : ` at ${first.instancePath}`;
  throw new Fault(code, `${what} is not as agreed${path}: ${first?.message ?? "unknown shape"}`, "");
}
