import { type Drawing, drawSite, loadSitePlan, updatePlan, writeDrawnPlan } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import type { Command } from "commander";
import { readUserFile } from "../arguments/read-user-file.ts";
import { writeUserFile } from "../arguments/write-user-file.ts";
import { type AskOptions, clientOf, withAskOptions } from "../client/ask-options.ts";
import { observeSite } from "./observe-site.ts";

interface DrawOptions extends AskOptions {
  readonly out?: string;
  readonly agentsOnly?: true;
  readonly update?: string;
  readonly site: string;
  readonly json?: string | true;
}

const say = (sentence: string): void => void process.stderr.write(`${sentence}\n`);

/** `dyetrace plan draw`: a plan of what is there. */
export function registerDraw(plan: Command): void {
  withAskOptions(
    plan
      .command("draw")
      .description(
        "Draw the site's plan from what agents hear and switches say. Agents send nothing for it; the controller reads the devices of `device list`.",
      )
      .option("--out <file>", "where the plan is written (default: standard output)")
      .option("--agents-only", "leave the switches unread")
      .option("--update <plan>", "propose changes to this plan instead; its comments and order stay")
      .option("--site <name>", "the site's name in the plan", "Drawn site")
      .option("--json [file]", "the drawing as JSON, to a file or to standard output"),
  ).action(async (options: DrawOptions) => {
    const observations = await observeSite(clientOf(options), options.agentsOnly === true, say);
    if (observations.hosts.length === 0 && observations.readings.length === 0) {
      throw new Fault(
        "AGENT_MISSING",
        "Nothing was seen of the site: no agent has told of its surroundings, and no device was read",
        "Connect agents, wait a few seconds, and add switches with `dyetrace device add`",
      );
    }
    const drawing = drawSite(observations, options.site);
    if (options.json !== undefined) writeUserFile(options.json === true ? "-" : options.json, asJson(drawing));
    if (options.json === true) return;
    writeUserFile(options.out ?? "-", planText(options.update, drawing));
    for (const question of drawing.questions) say(`? ${question}`);
    const { nodes, links } = drawing;
    const open = links.filter(({ by }) => by === "open").length;
    const concluded = links.filter(({ by }) => by === "concluded").length;
    say(
      `${nodes.length} nodes and ${links.length} links: ${links.length - open - concluded} seen, ${concluded} concluded, ${open} open.`,
    );
  });
}

function planText(update: string | undefined, drawing: Drawing): string {
  if (update === undefined) return writeDrawnPlan(drawing);
  const text = readUserFile(update).toString("utf8");
  return updatePlan(text, loadSitePlan(text, update), drawing);
}

const asJson = ({ vlans, ...drawing }: Drawing): string =>
  `${JSON.stringify({ ...drawing, vlans: Object.fromEntries(vlans) }, null, 2)}\n`;
