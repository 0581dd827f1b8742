import { Fault, parseDurationNs } from "@dyetrace/wire";
import type { AccessToken, TokenMade } from "@dyetrace/wire/console/access-token";
import type { Role } from "@dyetrace/wire/console/console-session";
import { type Command, Option } from "commander";
import { OperatorTokens } from "../access/operator-tokens.ts";
import { TokenUses } from "../access/token-uses.ts";
import { type AskOptions, clientOf, withAskOptions } from "./client/ask-options.ts";
import { bookIn, noteDeed, userHere } from "./with-book.ts";

const MOST_LASTING_NS = 10 * 365 * 24 * 3600e9;

type PlaceOptions = AskOptions & { readonly data?: string };

/** Tokens of programs. On the controller's own machine, also while it runs, or as an operator who has signed in to it. */
export function registerToken(program: Command): void {
  const token = program.command("token").description("Tokens of programs that ask a controller: Prometheus, CI, cron.");
  withPlace(
    token
      .command("add")
      .description("Make a token and print it, this one time. Keep it in a file that only its program may read.")
      .argument("<name>", "for the list and the log, for example prometheus")
      .addOption(
        new Option("--scope <scope>", "view: look, scrape. operate: start and stop runs as well")
          .choices(["view", "operate"])
          .default("view"),
      )
      .option("--expires <time>", "how long it lasts, or `never`", "365 d"),
  ).action(async (name: string, options: PlaceOptions & { scope: Role; expires: string }) => {
    const lastsMs = readExpiry(options.expires);
    const { token: made, until } = await add(name, options.scope, lastsMs, options);
    process.stdout.write(`${made}\n`);
    const end = until === null ? "until it is removed" : `until ${until}`;
    process.stderr.write(
      `The token ${name} lets a program ${whatFor(options.scope)}, ${end}. It is not shown again.\n`,
    );
  });
  withPlace(
    token
      .command("list")
      .description("Which tokens there are, who made them, when they end, and when they were last used.")
      .option("--json", "as JSON"),
  ).action(async (options: PlaceOptions & { json?: boolean }) => {
    const list =
      options.data === undefined ? await clientOf(options).ask("listTokens") : tokensIn(options.data).list(Date.now());
    if (options.json === true) process.stdout.write(`${JSON.stringify(list, null, 2)}\n`);
    else if (list.length === 0) process.stdout.write("There is no token.\n");
    else for (const one of list) process.stdout.write(`${describe(one)}\n`);
  });
  withPlace(
    token
      .command("remove")
      .description("Take a token away; what is open with it is cut within a second.")
      .argument("<name>"),
  ).action(async (name: string, options: PlaceOptions) => {
    if (options.data === undefined) {
      await clientOf(options).ask("removeToken", { path: { name } });
      return;
    }
    if (!tokensIn(options.data).remove(name)) {
      throw new Fault("OPTION_INVALID", `No token is called ${name}`, "`dyetrace token list` names them");
    }
    noteDeed(options.data, `removed the token ${name}`);
  });
}

const withPlace = (command: Command): Command =>
  withAskOptions(command).option("--data <folder>", "on the controller's own machine: its data folder, and no sign-in");

async function add(name: string, scope: Role, lastsMs: number | null, options: PlaceOptions): Promise<Made> {
  if (options.data === undefined) {
    const order = { name, scope, lastsS: lastsMs === null ? null : Math.round(lastsMs / 1000) };
    return await clientOf(options).ask("makeToken", { body: order });
  }
  const by = userHere();
  const made = tokensIn(options.data).add({ name, scope, lastsMs, by, operator: null }, Date.now());
  noteDeed(
    options.data,
    `made the token ${name} to ${scope}, ${made.until === null ? "without an end" : `until ${made.until}`}`,
  );
  return made;
}

type Made = Pick<TokenMade, "token" | "until">;

function tokensIn(folder: string): OperatorTokens {
  const book = bookIn(folder);
  using uses = new TokenUses(folder); // as they were last written down
  return new OperatorTokens(book, uses);
}

/** @returns ms; null: without an end @throws {Fault} UNIT_INVALID, OPTION_INVALID */
function readExpiry(text: string): number | null {
  if (text === "never") return null;
  const lastsNs = parseDurationNs(text);
  if (lastsNs >= 60e9 && lastsNs <= MOST_LASTING_NS) return lastsNs / 1e6;
  throw new Fault("OPTION_INVALID", `--expires ${text} is not between a minute and ten years`, "Write 90 d, or never");
}

const whatFor = (scope: Role): string => (scope === "view" ? "look" : "look and operate");

function describe({ name, scope, until, hasEnded, by, since, lastUse }: AccessToken): string {
  const end = until === null ? "no end" : `${hasEnded ? "ended" : "ends"} ${until}`;
  const use = lastUse === null ? "not used yet" : `last used ${lastUse.at} from ${lastUse.from}`;
  return `${name}: ${scope}, ${end}; made by ${by} on ${since}; ${use}`;
}
