import { loadSitePlan } from "@dyetrace/site";
import { followsOthers, type RunReport, type RunRequest } from "@dyetrace/wire";
import type { ProbeOffer } from "@dyetrace/wire/console/probe-offer";
import { type Command, InvalidArgumentError } from "commander";
import { EXIT } from "./arguments/exit-codes.ts";
import { untilInterrupted } from "./arguments/until-interrupted.ts";
import { type AskOptions, clientOf, withAskOptions } from "./client/ask-options.ts";
import { deliverReport, followRun } from "./client/follow-run.ts";
import { openLibrary } from "./client/run-library.ts";

interface ProbeCommandOptions extends AskOptions {
  readonly finding?: number;
  readonly dryRun?: boolean;
  readonly json?: string;
  readonly junit?: string;
  readonly despiteTraffic?: boolean;
  readonly despiteAdvice?: boolean;
  readonly confirm?: string;
}

export function registerProbe(program: Command): void {
  withAskOptions(
    program
      .command("probe")
      .description("Take the measurement that parts the suspects of a run best, and report both together.")
      .argument("<run>", "the run's id, or `last`")
      .option("--finding <number>", "which finding, counted from 1; the first one that a probe may part", findingNumber)
      .option("--dry-run", "say what would be sent and what it could tell, and send nothing")
      .option("--json <file>", "write the report as JSON; - for standard output")
      .option("--junit <file>", "write the report as test cases for a CI system")
      .option("--despite-traffic", "run although something is on its groups already")
      .option("--despite-advice", "run although a group is one that test traffic should keep clear of")
      .option("--confirm <words>", "the words that a run which loads a link much asks for"),
  ).action(probe);
}

async function probe(run: string, options: ProbeCommandOptions): Promise<void> {
  await using library = await openLibrary(options);
  const { runId } = await library.get(run);
  const client = clientOf(options);
  const query = options.finding === undefined ? {} : { finding: options.finding - 1 };
  const offer = await client.ask("offerProbe", { path: { id: runId }, query });
  process.stderr.write(sayOffer(offer));
  if (offer.request === null) {
    process.exitCode = EXIT.inconclusive;
    return;
  }
  if (options.dryRun === true) return;
  using interrupt = untilInterrupted();
  const request = withConsent(offer.request as RunRequest, options);
  const report = await followRun(client, request, { signal: interrupt.signal });
  deliverReport(report, loadSitePlan(request.site.text, request.site.file), options);
  process.exitCode = EXIT[report.verdict];
}

function findingNumber(text: string): number {
  const number = Number(text);
  if (!Number.isInteger(number) || number < 1) throw new InvalidArgumentError("Write a whole number from 1 on.");
  return number;
}

/** The same consents that `run` asks for. */
function withConsent(request: RunRequest, { despiteTraffic, despiteAdvice, confirm }: ProbeCommandOptions): RunRequest {
  const despite = [
    ...(despiteTraffic === true ? (["traffic"] as const) : []),
    ...(despiteAdvice === true ? (["advice"] as const) : []),
  ];
  return { ...request, despite, ...(confirm === undefined ? {} : { confirmation: confirm }) };
}

/** What a probe is for, what it sends and what it can tell, before anything is sent. */
function sayOffer({ title, suspects, refusal, sends, tells, wantedAgentAt }: ProbeOffer): string {
  const lines = [
    ...(title === "" ? [] : [title]),
    ...(suspects.length === 0 ? [] : [`Suspects: ${suspects.join(", ")}`]),
    ...(refusal === null ? [] : [refusal]),
    ...(sends.length === 0 ? [] : ["The probe:", ...sends.map((sentence) => `  - ${sentence}`)]),
    ...(tells.length === 0 ? [] : ["What it can tell:", ...tells.map((sentence) => `  - ${sentence}`)]),
    ...(wantedAgentAt === null || refusal !== null
      ? []
      : [`One more agent beside ${wantedAgentAt}, sending and listening, would tell them apart better.`]),
  ];
  return `${lines.join("\n")}\n`;
}

/** Beneath a report with suspects that a probe may part: how to take it. Empty where there are none, and where others' streams failed. */
export function sayHowToProbe(report: RunReport, how: string): string {
  if (followsOthers(report)) return "";
  const isOfUse = report.findings.some(({ suspects, causes }) => suspects.length > 1 && causes !== undefined);
  return isOfUse ? `Several suspects are left. ${how}\n\n` : "";
}
