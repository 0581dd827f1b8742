import { setTimeout as sleep } from "node:timers/promises";
import { Fault, parseDurationNs } from "@dyetrace/wire";
import type { Inventory, InventorySummary } from "@dyetrace/wire/inventory/inventory-schema";
import { type Command, Option } from "commander";
import {
  renderInventories,
  renderInventory,
  renderInventoryChanges,
} from "../../report/inventory/terminal-inventory.ts";
import { paintFor } from "../../report/terminal-paint.ts";
import { writeUserFile } from "../arguments/write-user-file.ts";
import { type AskOptions, clientOf, withAskOptions } from "../client/ask-options.ts";
import type { ControllerClient } from "../client/controller-client.ts";

interface TakeOptions extends AskOptions {
  readonly for: number;
  readonly json?: string | true;
  readonly since?: string;
}

const ASK_EVERY_MS = 500;
/** Beyond the look: answers of all agents, and their merging. */
const LATE_MS = 60_000;
const JSON_OPTION = ["--json [file]", "as JSON, to a file or to standard output"] as const;

/** `dyetrace inventory`: every group on the wire, and who sends, asks and gets it. */
export function registerInventory(program: Command): void {
  const inventory = withAskOptions(
    program
      .command("inventory")
      .description("Which groups are on the wire, seen by all agents at once. Nothing is joined or sent.")
      .addOption(
        new Option("--for <duration>", "how long the agents look: 1 s to 10 min")
          .argParser(parseDurationNs)
          .default(30e9, "30 s"),
      )
      .option("--since <inventory>", "say as well what is new since an earlier one: its id, or `last`")
      .option(...JSON_OPTION),
  ).action(async (options: TakeOptions) => {
    const client = clientOf(options);
    const earlier = options.since === undefined ? null : await idOf(client, options.since);
    const begun = await client.ask("takeInventory", { body: { forMs: forMsOf(options.for) } });
    if (options.json !== true) {
      process.stderr.write(`The agents look for ${begun.seenForMs / 1000} s. Nothing is joined or sent.\n`);
    }
    const taken = await whenDone(client, begun);
    if (options.json !== undefined) {
      writeUserFile(options.json === true ? "-" : options.json, asJson(taken));
      if (options.json === true) return;
    }
    process.stdout.write(renderInventory(taken, paintFor(process.stdout)));
    if (earlier !== null) process.stdout.write(`\n${await changesOf(client, taken.id, earlier)}`);
  });
  withAskOptions(
    inventory
      .command("list")
      .description("Inventories that are kept, newest first.")
      .option(...JSON_OPTION),
  ).action(async (options: AskOptions & { readonly json?: string | true }) => {
    const list = await clientOf(options).ask("listInventories");
    say(options.json, list, () => renderInventories(list));
  });
  withAskOptions(
    inventory
      .command("show")
      .description("An inventory that was taken earlier.")
      .argument("<inventory>", "its id, or `last`")
      .option(...JSON_OPTION),
  ).action(async (id: string, options: AskOptions & { readonly json?: string | true }) => {
    const client = clientOf(options);
    const found = await client.ask("readInventory", { path: { id: await idOf(client, id) } });
    say(options.json, found, () => renderInventory(found, paintFor(process.stdout)));
  });
  withAskOptions(
    inventory
      .command("compare")
      .description("What one inventory has that an earlier one had not, what is gone, and what is different.")
      .argument("<inventory>", "its id, or `last`")
      .requiredOption("--since <inventory>", "the earlier one: its id")
      .option(...JSON_OPTION),
  ).action(async (id: string, options: AskOptions & { readonly since: string; readonly json?: string | true }) => {
    const client = clientOf(options);
    const since = await idOf(client, options.since);
    const path = { id: await idOf(client, id) };
    const changes = await client.ask("compareInventories", { path, query: { since } });
    say(options.json, changes, () => renderInventoryChanges(changes, paintFor(process.stdout)));
  });
  withAskOptions(
    inventory.command("remove").description("Delete an inventory.").argument("<inventory>", "its id"),
  ).action(async (id: string, options: AskOptions) => {
    await clientOf(options).ask("removeInventory", { path: { id } });
    process.stdout.write(`Inventory ${id} is deleted.\n`);
  });
}

function say(json: string | true | undefined, value: object, render: () => string): void {
  if (json === undefined) process.stdout.write(render());
  else writeUserFile(json === true ? "-" : json, asJson(value));
}

const asJson = (value: object): string => `${JSON.stringify(value, null, 2)}\n`;

function forMsOf(forNs: number): number {
  const forMs = forNs / 1e6;
  if (forMs < 1000 || forMs > 600_000) {
    throw new Fault("OPTION_INVALID", "--for takes 1 s to 10 min", "30 s show what is sent at least every few seconds");
  }
  return forMs;
}

/** @throws {Fault} INVENTORY_UNKNOWN */
async function idOf(client: ControllerClient, word: string): Promise<string> {
  if (word !== "last") return word;
  const latest = (await client.ask("listInventories")).find(({ state }) => state === "done");
  if (latest === undefined) {
    throw new Fault("INVENTORY_UNKNOWN", "No inventory is kept yet", "`dyetrace inventory` takes one");
  }
  return latest.id;
}

/** @throws {Fault} INVENTORY_UNKNOWN where it came to nothing */
async function whenDone(client: ControllerClient, { id, seenForMs }: InventorySummary): Promise<Inventory> {
  const deadlineMs = Date.now() + seenForMs + LATE_MS;
  await sleep(seenForMs);
  while (Date.now() < deadlineMs) {
    const state = (await client.ask("listInventories")).find((one) => one.id === id)?.state;
    if (state === "done") return client.ask("readInventory", { path: { id } });
    if (state !== "looking") break;
    await sleep(ASK_EVERY_MS);
  }
  throw new Fault("INVENTORY_UNKNOWN", `Inventory ${id} came to nothing`, "The controller's log says why");
}

const changesOf = async (client: ControllerClient, id: string, since: string): Promise<string> =>
  renderInventoryChanges(
    await client.ask("compareInventories", { path: { id }, query: { since } }),
    paintFor(process.stdout),
  );
