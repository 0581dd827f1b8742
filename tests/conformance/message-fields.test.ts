import path from "node:path";
import { AgentMessageSchema, ControllerMessageSchema } from "@dyetrace/wire";
import { WifiFactsSchema } from "@dyetrace/wire/station/wifi-sight-schema";
import { expect, test } from "vitest";
import { type Form, fieldUses } from "./field-uses.ts";

const ROOT = path.resolve(import.meta.dirname, "../..");
const PROJECTS = ["packages/measure", "agent", "controller", "packages/console"].map((folder) =>
  path.join(ROOT, folder, folder === "packages/console" ? "tsconfig.page.json" : "tsconfig.json"),
);

/** What only carries figures on: schemas, merging, shifting, and writing them short. */
const CARRIERS = [
  "-schema.ts",
  "/control-messages.ts",
  "/agent-task.ts",
  "/report-form.ts",
  "/merge-receipts.ts",
  "/merge-interval-reports.ts",
  "/merge-watcher-reports.ts",
  "/shift-report.ts",
];

const INTERVAL = "report.report";

/** Fields without a reader or a producer of their own, each with the reason. */
const EXCEPTIONS: Readonly<Record<string, string>> = {
  ...Object.fromEntries(
    Object.keys(WifiFactsSchema.properties).map((field) => [
      `${INTERVAL}.wifi.${field}`,
      "carried whole beside its instant: `hello` has the form whose fields are filled and read one by one",
    ]),
  ),
  "upgrade.version": "read by earlier agents; this one goes by what the maintainer has signed",
  "upgrade.sha256": "as upgrade.version",
};

/** How a decoder says what was on the wire is held by its own tests: it is the message, not a figure of ours. */
const ELSEWHERE = "message";

interface Schema {
  readonly anyOf?: readonly Schema[];
  readonly items?: Schema | readonly Schema[];
  readonly properties?: Readonly<Record<string, Schema>>;
  readonly required?: readonly string[];
  readonly const?: unknown;
}

/** Every object in a message, each once, by the first place where it stands, as `report.report.listeners.receipt`. */
function formsIn(schema: Schema, place: string, forms: Map<string, Form>): void {
  for (const part of schema.anyOf ?? []) formsIn(part, kindOf(part) ?? place, forms);
  for (const part of [schema.items ?? []].flat()) formsIn(part, place, forms);
  const fields = Object.keys(schema.properties ?? {});
  if (fields.length > 0 && !forms.has(fields.join()))
    forms.set(fields.join(), { name: place, fields, required: schema.required ?? fields });
  for (const [field, part] of Object.entries(schema.properties ?? {})) {
    if (field !== ELSEWHERE) formsIn(part, `${place}.${field}`, forms);
  }
}

const kindOf = ({ properties }: Schema): string | null =>
  typeof properties?.["kind"]?.const === "string" ? properties["kind"].const : null;

function allForms(): readonly Form[] {
  const forms = new Map<string, Form>();
  formsIn(AgentMessageSchema as Schema, "agent", forms);
  formsIn(ControllerMessageSchema as Schema, "controller", forms);
  return [...forms.values()];
}

/** Compiles all packages with their types: what reads `receipt.lost` is told from what reads another `lost`. */
test("messages: given every field of every control message, then source code outside the schemas fills it and reads it", () => {
  const forms = allForms();
  expect(forms.map(({ name }) => name)).toEqual(
    expect.arrayContaining([
      "hello",
      `${INTERVAL}.listeners.receipt`,
      `${INTERVAL}.host`,
      "report.watch.streams",
      "prepare.task.actions",
    ]),
  );
  const isCounted = (fileName: string): boolean =>
    fileName.startsWith(`${ROOT}/`) &&
    !/\/node_modules\/|\/dist\/|\.test\.tsx?$|\.d\.ts$/.test(fileName) &&
    !CARRIERS.some((end) => fileName.endsWith(end));
  const { producers, readers } = fieldUses(forms, PROJECTS, isCounted);
  const names = forms.flatMap(({ name, fields }) => fields.map((field) => `${name}.${field}`));
  const missing = (uses: ReadonlySet<string>): string[] =>
    names.filter((name) => !uses.has(name) && !(name in EXCEPTIONS));
  expect({ withoutProducer: missing(producers), withoutReader: missing(readers) }).toEqual({
    withoutProducer: [],
    withoutReader: [],
  });
  // An exception that is none any more goes.
  const needless = Object.keys(EXCEPTIONS).filter((name) => producers.has(name) && readers.has(name));
  expect(needless).toEqual([]);
}, 180_000);
