import Type from "@dyetrace/schema";

/** Answer of a route that was asked to do something and has nothing to tell about it. */
export const DoneSchema = Type.Object({});

/** Answer of `POST /api/stop`. */
export const StoppedSchema = Type.Object({
  agents: Type.Array(Type.String({ description: "Agents that were told." })),
});
