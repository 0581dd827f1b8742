import type { AgentTask } from "@dyetrace/wire";
import type { CompiledRun } from "./compiled-run.ts";

/** A compiled run as plain data, for the store. */
export type PackedRun = Omit<CompiledRun, "tasks" | "companions"> & {
  readonly companions?: CompiledRun["companions"];
  readonly tasks: readonly (readonly [string, AgentTask])[];
};

export const packCompiledRun = (run: CompiledRun): PackedRun => ({ ...run, tasks: [...run.tasks] });

export const unpackCompiledRun = (packed: PackedRun): CompiledRun => ({
  ...packed,
  companions: packed.companions ?? [], // runs that an earlier version kept have none
  tasks: new Map(packed.tasks),
});
