/** What checks a value against a schema: the smaller of TypeBox's two ways. */
export { Check, Compile, type Validator } from "typebox/schema";
