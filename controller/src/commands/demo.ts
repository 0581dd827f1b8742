import path from "node:path";
import { fileURLToPath } from "node:url";
import { Fault, type FaultCode } from "@dyetrace/wire";
import type { Command } from "commander";
import { DEFAULT_PORT, defaultOrFreePort } from "./arguments/default-port.ts";
import { EXIT } from "./arguments/exit-codes.ts";
import { readUserFile } from "./arguments/read-user-file.ts";
import { untilInterrupted } from "./arguments/until-interrupted.ts";
import { ControllerClient } from "./client/controller-client.ts";
import { deliverReport, followRun } from "./client/follow-run.ts";
import { runLoopbackPair } from "./loopback-pair.ts";
import { readRunFiles } from "./run.ts";
import { raisePractice } from "./standing-practice.ts";

const say = (sentence: string): void => void process.stderr.write(`${sentence}\n`);
const demoFile = (name: string): string =>
  path.relative(process.cwd(), fileURLToPath(import.meta.resolve(`@dyetrace/practice/demo/${name}`)));
/** Codes that say "no namespaces on this machine" rather than "something broke". */
const NO_PRACTICE_SITE: ReadonlySet<FaultCode> = new Set(["NEEDS_LINUX", "NEEDS_TOOL", "NEEDS_PRIVILEGE"]);

/** What `npm start` shows: the main job on the practice site, with a fault in it. */
export function registerDemo(program: Command): void {
  program
    .command("demo", { hidden: true })
    .option("--once", "end after the run instead of serving on")
    .action(async (options: { once?: boolean }) => {
      try {
        await showPracticeSite(options.once === true);
      } catch (error) {
        if (!(error instanceof Fault) || !NO_PRACTICE_SITE.has(error.code)) throw error;
        say(`No practice site here: ${error.message}. ${error.hint}`);
        await runLoopbackPair();
      }
    });
}

async function showPracticeSite(isOnce: boolean): Promise<void> {
  const startedMs = performance.now();
  const plan = demoFile("quillfen.yaml");
  const scenarioFile = demoFile("reach.yaml");
  const faultFile = demoFile("fault-pier-east.yaml");
  const { request, graph } = readRunFiles(plan, scenarioFile, []);
  const fault = {
    file: faultFile,
    text: readUserFile(faultFile).toString("utf8"),
  };
  using interrupt = untilInterrupted();
  say(`Raising the practice site "${graph.name}": ${graph.nodes.size} nodes, real kernel bridges that snoop ...`);
  await using standing = await raisePractice({
    graph,
    plan: request.site,
    listen: await defaultOrFreePort(),
    log: say,
    signal: interrupt.signal,
  });
  const { controller, site } = standing;
  const client = new ControllerClient(controller.url);
  await client.ask("putPracticeFaults", { body: fault });
  say(`A fault is in: ${faultFile}. The run does not know of it.`);
  const report = await followRun(client, request, { signal: interrupt.signal });
  deliverReport(report, graph);
  const seconds = (performance.now() - startedMs) / 1000;
  say(`From nothing to this answer: ${seconds.toFixed(1)} s.`);
  if (isOnce || interrupt.signal.aborted) {
    process.exitCode = EXIT[report.verdict];
    return;
  }
  const at = controller.url.endsWith(`:${DEFAULT_PORT}`) ? "" : ` --controller ${controller.url}`;
  say(
    [
      "",
      `The site and its controller (${controller.url}) stand until you press Ctrl-C. In another terminal:`,
      `  npx dyetrace practice faults lift${at}                 take the fault out`,
      `  npx dyetrace run ${scenarioFile} --site ${plan}${at}   run again: it passes`,
      "  npx dyetrace practice exec core -- bridge -d mdb show   who joined, in the kernel's own words",
    ].join("\n"),
  );
  await Promise.race([interrupt.pressed, site.closed]);
}
