import { Fault } from "@dyetrace/wire";

export const noStory = (runId: string): Fault =>
  new Fault(
    "RUN_UNFINISHED",
    `No story is kept of run ${runId}`,
    "A run has one once it has begun here; runs of earlier versions have none",
  );
