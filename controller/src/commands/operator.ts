import { randomBytes } from "node:crypto";
import { Fault } from "@dyetrace/wire";
import type { Role } from "@dyetrace/wire/console/console-session";
import { LEAST_PASSWORD_LETTERS } from "@dyetrace/wire/console/operators";
import { type Command, Option } from "commander";
import { type AccessRecords, OPERATOR_NAME } from "../access/access-records.ts";
import { hasEnded } from "../access/agent-credential.ts";
import { AgentDoor } from "../access/agent-door.ts";
import { tokensOf, withoutOperator } from "../access/operator-tokens.ts";
import { hashPassword } from "../access/password.ts";
import { readPassword } from "./arguments/read-password.ts";
import { type BookOptions, noteInTrail, withBook } from "./with-book.ts";

/** Who may sign in, and which agents may connect: on the controller's own machine, also while it runs. */
export function registerOperator(program: Command): void {
  const data = ["--data <folder>", "the controller's data folder", "dyetrace-data"] as const;
  const shared = ["--store-file <file>", "of controllers that share a database: the file with its address"] as const;
  const operator = program.command("operator").description("Who may sign in to a controller.");
  operator
    .command("add")
    .description("Add an operator, or give one another role or password. The running controller knows at once.")
    .argument("<name>")
    .addOption(new Option("--role <role>", "view: look. operate: start, stop, enrol").choices(["view", "operate"]))
    .option("--draw-password", "draw a password and print it, instead of asking for one", false)
    .option(...data)
    .option(...shared)
    .action(async (name: string, options: BookOptions & { role?: Role; drawPassword: boolean }) => {
      if (!new RegExp(OPERATOR_NAME).test(name)) {
        throw new Fault("OPTION_INVALID", `"${name}" is no name for an operator`, "Letters, digits and . _ @ -");
      }
      await withBook(options, true, async (book) => {
        const before = book.records.operators.find((one) => one.name === name);
        const role = options.role ?? before?.role ?? "view";
        const password = options.drawPassword ? randomBytes(12).toString("base64url") : await readPassword();
        if (password.length < LEAST_PASSWORD_LETTERS) {
          throw new Fault("OPTION_INVALID", `The password is shorter than ${LEAST_PASSWORD_LETTERS} letters`, "");
        }
        const since = before?.since ?? new Date().toISOString();
        const record = { name, role, password: await hashPassword(password), since };
        book.change(({ operators }) => ({ operators: [...operators.filter((one) => one.name !== name), record] }));
        const deed = before === undefined ? "added operator" : "gave another role or password to operator";
        noteInTrail(options, `${deed} ${name}, to ${role}`);
        if (options.drawPassword) process.stdout.write(`${password}\n`);
        process.stderr.write(`${name} may now sign in, to ${role === "view" ? "look" : "look and operate"}.\n`);
        const made = tokensOf(book.records, name).map((token) => token.name);
        if (made.length > 0) {
          process.stderr.write(`Tokens that ${name} made still open what they did: ${made.join(", ")}.\n`);
          process.stderr.write("If another password is needed because somebody knew the old one, remove them.\n");
        }
      });
    });
  operator
    .command("remove")
    .description(
      "Take an operator's access away, with the tokens that he made; who is signed in is out within a second.",
    )
    .argument("<name>")
    .option("--keep-tokens", "leave the tokens that he made, which belong to nobody then", false)
    .option(...data)
    .option(...shared)
    .action((name: string, options: BookOptions & { keepTokens: boolean }) =>
      withBook(options, false, (book) => {
        if (!book.records.operators.some((one) => one.name === name)) {
          throw new Fault("OPTION_INVALID", `No operator is called ${name}`, "`dyetrace operator list` names them");
        }
        const made = tokensOf(book.records, name).map((token) => token.name);
        book.change((records) => withoutOperator(records, name, options.keepTokens));
        const tokens =
          made.length === 0 ? "" : ` and ${options.keepTokens ? "kept" : "removed"} the tokens ${made.join(", ")}`;
        noteInTrail(options, `removed operator ${name}${tokens}`);
        if (made.length > 0) process.stderr.write(`Removed ${name}${tokens}.\n`);
      }),
    );
  operator
    .command("list")
    .description("Who may sign in, and which agents are enrolled.")
    .option("--json", "as JSON")
    .option(...data)
    .option(...shared)
    .action((options: BookOptions & { json?: boolean }) =>
      withBook(options, false, ({ records }) => {
        const { operators, agents } = records;
        if (options.json === true) {
          process.stdout.write(`${JSON.stringify(listed(records, Date.now()), null, 2)}\n`);
          return;
        }
        for (const { name, role } of operators) process.stdout.write(`operator ${name}: ${role}\n`);
        const now = Date.now();
        for (const agent of agents) {
          const ends =
            agent.until === undefined ? "has no end" : `${hasEnded(agent, now) ? "ended" : "ends"} ${agent.until}`;
          process.stdout.write(`agent ${agent.name}: since ${agent.since}, from ${agent.from}; credential ${ends}\n`);
        }
      }),
    );
  operator
    .command("revoke-agent")
    .description("Take an agent's credential away; it is out within seconds.")
    .argument("<name>")
    .option(...data)
    .option(...shared)
    .action((name: string, options: BookOptions) =>
      withBook(options, false, (book) => {
        if (!new AgentDoor(book, null).revoke(name)) {
          throw new Fault("OPTION_INVALID", `No agent is enrolled as ${name}`, "`dyetrace operator list` names them");
        }
        noteInTrail(options, `revoked agent ${name}`);
      }),
    );
}

/** What `list` tells, without hashes of passwords and credentials. */
const listed = ({ operators, agents }: AccessRecords, nowMs: number): object => ({
  operators: operators.map(({ name, role, since }) => ({ name, role, since })),
  agents: agents.map((agent) => ({
    ...{ name: agent.name, since: agent.since, from: agent.from, until: agent.until ?? null },
    hasEnded: hasEnded(agent, nowMs),
  })),
});
