import Type from "@dyetrace/schema";
import { Fault } from "@dyetrace/wire";
import { DoneSchema } from "@dyetrace/wire/console/done";
import {
  type OperatorEntry,
  OperatorEntrySchema,
  type OperatorOrder,
  OperatorOrderSchema,
} from "@dyetrace/wire/console/operators";
import type { FastifyInstance } from "fastify";
import type { AccessBook } from "./access-book.ts";
import { withoutOperator } from "./operator-tokens.ts";
import { hashPassword } from "./password.ts";

/**
 * `/api/operators`: people who may operate add others and take their access away; a program never does. Another password or
 * role is given on the controller's machine alone: nobody takes another's place from a page.
 */
export function registerOperators(app: FastifyInstance, book: AccessBook, isOpen: boolean): void {
  const config = { isForPeople: true };
  app.get(
    "/api/operators",
    { schema: { summary: "Who may sign in", response: { 200: Type.Array(OperatorEntrySchema) } } },
    (): OperatorEntry[] => book.records.operators.map(({ name, role, since }) => ({ name, role, since })),
  );
  app.post<{ Body: OperatorOrder }>(
    "/api/operators",
    { config, schema: { summary: "Adds an operator", body: OperatorOrderSchema, response: { 200: DoneSchema } } },
    async (request) => {
      refuseOpen(isOpen);
      const { name, role, password } = request.body;
      refuseTaken(book, name);
      const record = { name, role, password: await hashPassword(password), since: new Date().toISOString() };
      book.change(({ operators }) => {
        if (operators.some((one) => one.name === name)) throw taken(name);
        return { operators: [...operators, record] };
      });
      return {};
    },
  );
  app.delete<{ Params: { name: string } }>(
    "/api/operators/:name",
    {
      config,
      schema: {
        summary: "Takes an operator's access away, and the tokens that he made",
        response: { 200: DoneSchema },
      },
    },
    (request) => {
      refuseOpen(isOpen);
      const { name } = request.params;
      if (name === request.operator?.name) {
        throw new Fault("OPTION_INVALID", "Nobody takes his own access away here", "Somebody else who may operate can");
      }
      book.change((records) => {
        if (!records.operators.some((one) => one.name === name)) {
          throw new Fault("OPTION_INVALID", `No operator is called ${name.slice(0, 64)}`, "");
        }
        return withoutOperator(records, name, false);
      });
      return {};
    },
  );
}

/** Whoever is on this machine would let himself in for later, from elsewhere. */
function refuseOpen(isOpen: boolean): void {
  if (!isOpen) return;
  throw new Fault(
    "OPTION_INVALID",
    "Nobody signs in to this controller, so its page adds and removes no operators",
    "Use `dyetrace operator add` on this machine",
  );
}

function refuseTaken(book: AccessBook, name: string): void {
  if (book.records.operators.some((one) => one.name === name)) throw taken(name);
}

const taken = (name: string): Fault =>
  new Fault(
    "NAME_TAKEN",
    `${name} is an operator already`,
    "Another password or role is given with `dyetrace operator add` on the controller's machine",
  );
