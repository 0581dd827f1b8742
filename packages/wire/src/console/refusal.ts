import Type from "@dyetrace/schema";
import { Nullable } from "../nullable.ts";

/** What any route answers where it refuses or fails; the status says which. */
export const RefusalSchema = Type.Object({
  /** One of deploy/error-codes.md. */
  code: Type.String(),
  message: Type.String(),
  /** How to mend it; empty where nobody can. */
  hint: Type.String(),
  /** Where in a file that was sent; absent where the request itself is at fault. */
  place: Type.Optional(Nullable(Type.Object({ file: Type.String(), line: Type.Integer(), column: Type.Integer() }))),
});
