import { agentNames, loadSitePlan } from "@dyetrace/site";
import { Fault, parseDurationNs } from "@dyetrace/wire";
import type { EnrolAnswer } from "@dyetrace/wire/console/console-agent";
import type { Command } from "commander";
import { readUserFile } from "../arguments/read-user-file.ts";
import { type AskOptions, clientOf, withAskOptions } from "../client/ask-options.ts";

interface KeyOptions extends AskOptions {
  readonly name?: string;
  readonly hosts?: string;
  readonly names?: string;
  readonly plan?: string;
  readonly for: string;
  readonly interface?: string;
  readonly json?: boolean;
}

/** `dyetrace agents key`: the line that brings a host in, or many hosts. */
export function registerAgentsKey(agents: Command): void {
  withAskOptions(
    agents
      .command("key")
      .description(
        "Make a key and print the line that installs and enrols an agent on a host; with --hosts, --names or --plan one for many hosts, each once.",
      )
      .option("--name <name>", "for one host of this name")
      .option("--hosts <number>", "how many hosts it enrols, each by its own name")
      .option("--names <file>", "the only names that it enrols, one a line")
      .option("--plan <plan>", "the plan's hosts that are not enrolled yet")
      .option("--for <time>", "how long a key for many hosts lasts, up to 7 d", "24 h")
      .option("--interface <name>", "the interface to test on, where a host has several")
      .option("--json", "key, line and end as JSON"),
  ).action(async (options: KeyOptions) => {
    const client = clientOf(options);
    const named = await namesOf(options, async () => (await client.ask("listEnrolled")).map(({ name }) => name));
    const many = {
      ...(options.hosts === undefined ? {} : { hosts: numberOf(options.hosts) }),
      ...(named === null ? {} : { names: named }),
    };
    const isForMany = Object.keys(many).length > 0;
    if (isForMany && options.name !== undefined) {
      throw new Fault(
        "OPTION_INVALID",
        "--name is for one host, --hosts, --names and --plan for many",
        "Leave one out",
      );
    }
    const body = {
      ...(options.name === undefined ? {} : { name: options.name }),
      ...(options.interface === undefined ? {} : { interface: options.interface }),
      ...(isForMany ? { many: { ...many, lastsMs: parseDurationNs(options.for) / 1e6 } } : {}),
    };
    const answer = await client.ask("makeEnrolKey", { body });
    if (options.json === true) process.stdout.write(`${JSON.stringify(answer, null, 2)}\n`);
    else tell(answer, isForMany ? (many.hosts ?? named?.length ?? 1) : 1, named);
  });
}

function tell({ line, until }: EnrolAnswer, hosts: number, names: readonly string[] | null): void {
  process.stdout.write(`${line}\n`);
  const whom = hosts === 1 ? "one host" : `${hosts} hosts, each once`;
  const only = names === null ? "" : ` Only: ${names.join(", ")}.`;
  process.stderr.write(`For ${whom}, until ${until}. Whoever has the line can enrol a host until then.${only}\n`);
}

/** @returns null where any name will do @throws {Fault} OPTION_INVALID, FILE_UNREADABLE, SITE_PLAN_INVALID */
async function namesOf(
  { names, plan }: KeyOptions,
  enrolled: () => Promise<readonly string[]>,
): Promise<readonly string[] | null> {
  if (names !== undefined && plan !== undefined) {
    throw new Fault("OPTION_INVALID", "--names and --plan both say which names", "Leave one of them out");
  }
  if (names !== undefined) {
    const lines = readUserFile(names).toString("utf8").split("\n");
    const found = lines.map((line) => line.replace(/#.*/, "").trim()).filter((line) => line !== "");
    if (found.length === 0) throw new Fault("OPTION_INVALID", `${names} has no name in it`, "Write one a line");
    return found;
  }
  if (plan === undefined) return null;
  const already = new Set(await enrolled());
  const missing = agentNames(loadSitePlan(readUserFile(plan), plan)).filter((name) => !already.has(name));
  if (missing.length === 0) {
    throw new Fault("OPTION_INVALID", `All hosts of ${plan} are enrolled`, "`dyetrace agents list` has them");
  }
  return missing;
}

function numberOf(text: string): number {
  if (/^[0-9]{1,4}$/.test(text)) return Number(text);
  throw new Fault("OPTION_INVALID", `--hosts ${text} is no number of hosts`, "Write one from 1 to 1000");
}
