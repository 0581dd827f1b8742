import { createHash } from "node:crypto";
import { mkdirSync, readFileSync } from "node:fs";
import path from "node:path";
import { loadSitePlan, restsIn, type SiteGraph } from "@dyetrace/site";
import { Fault, type UserFile } from "@dyetrace/wire";
import type { FileMistake } from "@dyetrace/wire/console/file-mistake";
import type { PlanAnswer, PlanRests } from "@dyetrace/wire/console/plan-answer";
import type { ConsolePlan, PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import { writeWhole } from "../files/write-whole.ts";
import { checkPlan } from "../plan/check-plan.ts";

/** The site plan that this controller works with; kept in its data folder where it has one. */
export class PlanShelf {
  #plan: ConsolePlan | null = null;
  readonly #file: string | null;

  /**
   * @param folder null keeps the plan in memory alone
   * @param given the plan that the controller was started with; goes before the kept one
   * @throws {Fault} SITE_PLAN_INVALID when `given` has mistakes
   */
  constructor(folder: string | null, given: UserFile | null) {
    this.#file = folder === null ? null : path.join(folder, "site-plan.yaml");
    if (given !== null) this.#plan = readPlan(given);
    else if (this.#file !== null) this.#plan = readKept(this.#file);
  }

  get plan(): ConsolePlan | null {
    return this.#plan;
  }

  /**
   * @param replaces the edition that it was made from, null: there was none; absent: whatever is there
   * @throws {Fault} SITE_PLAN_INVALID, PLAN_CHANGED, or FILE_UNREADABLE when it can't be written
   */
  save(text: UserFile, replaces?: string | null): ConsolePlan {
    if (replaces !== undefined && replaces !== (this.#plan?.edition ?? null)) {
      const message = "The controller's plan was changed meanwhile, by somebody else or on another page";
      throw new Fault("PLAN_CHANGED", message, "Look at what differs from the plan that is there now, then save again");
    }
    const plan = readPlan(text);
    if (this.#file !== null) {
      try {
        mkdirSync(path.dirname(this.#file), { recursive: true, mode: 0o700 });
        writeWhole(this.#file, text.text);
      } catch (cause) {
        throw new Fault(
          "FILE_UNREADABLE",
          `Cannot keep the plan in ${this.#file}: ${(cause as NodeJS.ErrnoException).code ?? String(cause)}`,
          "The plan before it stays. See that there is room and that the controller may write there",
          { cause },
        );
      }
    }
    this.#plan = plan;
    return plan;
  }
}

const readPlan = (text: UserFile): ConsolePlan => ({
  text,
  drawing: drawPlan(loadSitePlan(text.text, text.file)),
  edition: createHash("sha256").update(text.text).digest("hex").slice(0, 16),
});

/** @returns null where nothing was kept, or what was kept is a plan no more */
function readKept(file: string): ConsolePlan | null {
  try {
    return readPlan({ file: path.basename(file), text: readFileSync(file, "utf8") });
  } catch {
    return null;
  }
}

export const drawPlan = (graph: SiteGraph): PlanDrawing => ({
  site: graph.name,
  nodes: [...graph.nodes.values()],
  links: graph.links,
  ...(graph.vlans === undefined ? {} : { vlans: [...graph.vlans.values()] }),
});

/** What is wrong with a pasted plan, or what it looks like and which of its segments the agents can tell apart. */
export function answerPlan(text: UserFile): PlanAnswer {
  try {
    const graph = loadSitePlan(text.text, text.file);
    const check = checkPlan(graph, null);
    const { ambiguousSets, untested, nextAgentAt, separableRatio } = check.coverage;
    return {
      kind: "plan",
      drawing: drawPlan(graph),
      rests: planRests(text.text),
      coverage: {
        agents: check.agents,
        querier: check.querier,
        source: check.sources[0] ?? null,
        ambiguousSets,
        untested,
        nextAgentAt,
        separableRatio,
      },
    };
  } catch (error) {
    if (!(error instanceof Fault)) throw error;
    return { kind: "mistakes", mistakes: mistakesOf(error) };
  }
}

function planRests(text: string): PlanRests {
  const { nodes, links } = restsIn(text);
  return { nodes: Object.fromEntries(nodes), links };
}

export const mistakesOf = (fault: Fault): FileMistake[] =>
  [fault, ...fault.others].map(({ message, hint, place }) => ({
    message,
    hint,
    line: place?.line ?? null,
    column: place?.column ?? null,
  }));
