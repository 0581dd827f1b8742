import type { RunRequest } from "@dyetrace/wire";
import { HEADER_ROOM_BYTES } from "@dyetrace/wire/capture/kept-headers-schema";
import type { CompiledRun } from "../plan/compiled-run.ts";

/** @returns the run with agents that keep headers, where it was asked for */
export const withKeptHeaders = (run: CompiledRun, { keepsHeaders }: RunRequest): CompiledRun =>
  keepsHeaders === true
    ? {
        ...run,
        tasks: new Map([...run.tasks].map(([agent, task]) => [agent, { ...task, keepsHeaders: HEADER_ROOM_BYTES }])),
      }
    : run;
