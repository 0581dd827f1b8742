import Type from "@dyetrace/schema";

/** Unknown is null, never 0. */
export const Nullable = <T extends Type.TSchema>(schema: T) => Type.Union([schema, Type.Null()]);
