import type { AgentTask } from "@dyetrace/wire";
import type { CompiledRun } from "./compile-scenario.ts";

/** A compiled run as plain data, for the store. */
export type PackedRun = Omit<CompiledRun, "tasks"> & { readonly tasks: readonly (readonly [string, AgentTask])[] };

export const packCompiledRun = (run: CompiledRun): PackedRun => ({ ...run, tasks: [...run.tasks] });

export const unpackCompiledRun = (packed: PackedRun): CompiledRun => ({ ...packed, tasks: new Map(packed.tasks) });
