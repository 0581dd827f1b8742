import { Fault } from "@dyetrace/wire";
import type { EnrolledAgent } from "@dyetrace/wire/console/console-agent";
import type { Command } from "commander";
import { AgentDoor } from "../access/agent-door.ts";
import { registerAgentsKey } from "./agents/agents-key.ts";
import { type AskOptions, clientOf, withAskOptions } from "./client/ask-options.ts";
import { bookIn, noteDeed } from "./with-book.ts";

type PlaceOptions = AskOptions & { readonly data?: string };
type Listed = EnrolledAgent & { readonly isConnected: boolean | null };

/** Agents that are enrolled, and their credentials. */
export function registerAgents(program: Command): void {
  const agents = program.command("agents").description("Agents that are enrolled, and when their credentials end.");
  withPlace(
    agents
      .command("list")
      .description("Which agents are enrolled, and when their credentials end.")
      .option("--json", "as JSON"),
  ).action(async (options: PlaceOptions & { json?: boolean }) => {
    const list = await listed(options);
    if (options.json === true) process.stdout.write(`${JSON.stringify(list, null, 2)}\n`);
    else if (list.length === 0) process.stdout.write("No agent is enrolled.\n");
    else for (const agent of list) process.stdout.write(`${describe(agent)}\n`);
  });
  registerAgentsKey(agents);
  withPlace(
    agents
      .command("rotate")
      .description(
        "Have an agent's credential exchanged for another one now, or when it next connects; the old one holds until then.",
      )
      .argument("[name]")
      .option("--all", "of every agent", false)
      .option("--json", "as JSON"),
  ).action(async (name: string | undefined, options: PlaceOptions & { all: boolean; json?: boolean }) => {
    if ((name === undefined) !== options.all) {
      throw new Fault(
        "OPTION_INVALID",
        "Either an agent's name or --all says whose credential is meant",
        "Give one of them",
      );
    }
    const rotated = await rotate(name ?? null, options);
    if (options.json === true) process.stdout.write(`${JSON.stringify({ agents: rotated }, null, 2)}\n`);
    else if (rotated.length === 0) process.stdout.write("No agent is enrolled.\n");
    else process.stdout.write(`Ordered for ${rotated.join(", ")}: now, or when they next connect.\n`);
  });
}

const withPlace = (command: Command): Command =>
  withAskOptions(command).option("--data <folder>", "on the controller's own machine: its data folder, and no sign-in");

async function listed(options: PlaceOptions): Promise<readonly Listed[]> {
  if (options.data !== undefined) {
    const enrolled = new AgentDoor(bookIn(options.data), null).enrolled(Date.now());
    // What the running controller alone knows stays unknown.
    return enrolled.map((agent) => ({ ...agent, trouble: null, isConnected: null }));
  }
  const client = clientOf(options);
  const enrolled = await client.ask("listEnrolled");
  const connected = await client.ask("listAgents");
  const here = new Set(connected.map(({ name }) => name));
  return enrolled.map((agent) => ({ ...agent, isConnected: here.has(agent.name) }));
}

async function rotate(name: string | null, options: PlaceOptions): Promise<readonly string[]> {
  if (options.data === undefined) {
    const body = name === null ? {} : { name };
    return (await clientOf(options).ask("rotateCredentials", { body })).agents;
  }
  const rotated = new AgentDoor(bookIn(options.data), null).orderRotation(name);
  if (name !== null && rotated.length === 0) {
    throw new Fault("AGENT_MISSING", `No agent ${name} is enrolled`, "`dyetrace agents list` names them");
  }
  if (rotated.length > 0) noteDeed(options.data, `ordered another credential for ${name ?? "all agents"}`);
  return rotated;
}

function describe({ name, until, hasEnded, isRenewalDue, trouble, isConnected }: Listed): string {
  const where = isConnected === null ? "" : isConnected ? ", connected" : ", not connected";
  const credential =
    until === null
      ? "its credential has no end: an earlier version made it, and it is exchanged when an agent of this version connects"
      : hasEnded
        ? `its credential ended ${until}: enrol it again`
        : `its credential ends ${until}${isRenewalDue ? ", and is exchanged before that when it is connected" : ""}`;
  return `${name}${where}: ${credential}${trouble === null ? "" : `; it could not keep another one: ${trouble}`}`;
}
