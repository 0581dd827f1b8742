import Type, { type Static } from "@dyetrace/schema";
import type { DeepReadonly } from "../deep-readonly.ts";
import { Nullable } from "../nullable.ts";

/** A mistake in a file. Lines and columns count from 1. */
export const FileMistakeSchema = Type.Object({
  message: Type.String(),
  hint: Type.String(),
  line: Nullable(Type.Integer({ minimum: 1 })),
  column: Nullable(Type.Integer({ minimum: 1 })),
});
export type FileMistake = DeepReadonly<Static<typeof FileMistakeSchema>>;
