import type { AgentMessage } from "@dyetrace/wire";
import type { KeptReport } from "../store/pack/kept-report.ts";
import { packBody } from "../store/pack/pack-body.ts";
import { countMinutes } from "./count-minutes.ts";
import { noteEpisodes } from "./note-episodes.ts";

export type ReportMessage = Extract<AgentMessage, { readonly kind: "report" }>;

/** One report as the store takes it, with all that is worked out of it at the door. Pure. @param mustFollow see `KeptReport` */
export function prepareReport(agent: string, message: ReportMessage, mustFollow = false): KeptReport {
  const { runId, stint, firstNumber, lastNumber, droppedReports, isFinal, report, watch } = message;
  const body = { report, watch };
  const { fromNs, toNs } = report;
  const dropped =
    droppedReports === 0
      ? []
      : [
          {
            kind: "dropped" as const,
            agent,
            streamId: null,
            fromNs,
            toNs,
            count: droppedReports,
            detail: "the agent had no room to keep them until they were stored",
          },
        ];
  return {
    runId,
    agent,
    stint,
    firstNumber,
    lastNumber,
    droppedReports,
    mustFollow,
    isFinal,
    fromNs,
    toNs,
    packed: packBody(body),
    minutes: countMinutes(body),
    episodes: [...noteEpisodes(agent, body), ...dropped],
  };
}

/** Rough size of a prepared report in memory, bytes. */
export const sizeOfPrepared = ({ packed, minutes, episodes }: KeptReport): number =>
  packed.length + 300 * (1 + minutes.length + episodes.length);
