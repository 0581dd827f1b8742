import { loadSitePlan } from "@dyetrace/site";
import { API_ROUTES } from "@dyetrace/wire/console/api-routes";
import { pino } from "pino";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type Controller, startController } from "../../controller/src/service/controller-service.ts";
import { registerPracticeRoutes } from "../../controller/src/service/practice-routes.ts";

/** By the OpenAPI Specification 3.1.0, sections 4.8.2 (schemes), 4.8.10 (operations), 4.8.16 (responses) and 4.8.30 (security). */
interface Operation {
  readonly operationId?: string;
  readonly summary?: string;
  readonly security?: readonly Readonly<Record<string, readonly string[]>>[];
  readonly responses: Readonly<
    Record<string, { readonly content?: Readonly<Record<string, { readonly schema?: object }>> }>
  >;
}
interface Document {
  readonly openapi: string;
  readonly paths: Readonly<Record<string, Readonly<Record<string, Operation>>>>;
  readonly components: { readonly securitySchemes: Readonly<Record<string, unknown>> };
}

const NO_SITE = {
  querier: null,
  graph: loadSitePlan("site: Q\nnodes: { a: { kind: host }, b: { kind: host } }\nlinks: [ 'a:1 -- b:1' ]\n", "p.yaml"),
} as Parameters<typeof registerPracticeRoutes>[1];

let controller: Controller;
let document: Document;
let operations: readonly (readonly [route: string, operation: Operation])[];
beforeAll(async () => {
  const log = pino({ level: "silent" });
  controller = await startController({ host: "127.0.0.1", port: 0, log }, (app) =>
    registerPracticeRoutes(app, NO_SITE),
  );
  document = (await (await fetch(`${controller.url}/api/openapi.json`)).json()) as Document;
  operations = Object.entries(document.paths).flatMap(([path, methods]) =>
    Object.entries(methods).map(([method, operation]) => [`${method.toUpperCase()} ${path}`, operation] as const),
  );
}, 60_000);
afterAll(() => controller?.close());

test("OpenAPI: given every route, then it has a summary, an id that no other has, who may ask, and the schema of what it answers", () => {
  expect(document.openapi).toBe("3.1.0");
  expect(operations.length).toBeGreaterThan(45);
  const schemes = Object.keys(document.components.securitySchemes);
  const lacks = operations.flatMap(([route, { operationId, summary, security, responses }]) => {
    const good = Object.entries(responses).filter(([status]) => status.startsWith("2"));
    const hasSchema =
      good.length > 0 &&
      good.every(([, { content }]) => Object.values(content ?? {}).some(({ schema }) => schema !== undefined));
    const refusal = responses["default"]?.content?.["application/json"]?.schema;
    return [
      ...(/^[a-z][A-Za-z0-9]+$/.test(operationId ?? "") ? [] : [`${route}: id ${operationId}`]),
      ...((summary ?? "") === "" ? [`${route}: no summary`] : []),
      ...(security === undefined ? [`${route}: no security`] : []),
      ...(security ?? [])
        .flatMap((one) => Object.keys(one))
        .flatMap((name) => (schemes.includes(name) ? [] : [`${route}: ${name} is no scheme`])),
      ...(hasSchema ? [] : [`${route}: no schema of its answer`]),
      ...(refusal === undefined ? [`${route}: no schema of a refusal`] : []),
    ];
  });
  expect(lacks).toEqual([]);
  const ids = operations.map(([, { operationId }]) => operationId);
  expect(ids.filter((id, at) => ids.indexOf(id) !== at)).toEqual([]);
});

test("OpenAPI: given routes that nobody signs in for, then those alone say so; and a program's token makes no tokens", () => {
  const anybody = operations.filter(([, { security }]) => security?.length === 0).map(([route]) => route);
  expect(anybody.sort()).toEqual(["GET /api/session", "GET /api/status", "GET /health", "POST /api/sign-in"]);
  const schemesOf = (wanted: string) =>
    operations.find(([route]) => route === wanted)?.[1].security?.flatMap((one) => Object.keys(one));
  expect(schemesOf("POST /api/tokens")).toEqual(["signIn", "session"]);
  expect(schemesOf("GET /api/tokens")).toEqual(["token", "signIn", "session"]);
});

test("OpenAPI: given what the commands' client goes by, then each route is there under that id", () => {
  for (const [name, { method, path }] of Object.entries(API_ROUTES)) {
    const route = `${method} ${path.replace(/:(\w+)/g, "{$1}")}`;
    expect(operations.find(([one]) => one === route)?.[1].operationId, route).toBe(name);
  }
});

test("OpenAPI: given every reference in the document, then it leads to a schema of the document", () => {
  const references = new Set(JSON.stringify(document).match(/"\$ref":"[^"]*"/g) ?? []);
  for (const reference of references) {
    const way = /^"\$ref":"#\/(.*)"$/.exec(reference)?.[1];
    const found = way
      ?.split("/")
      .reduce<unknown>((at, key) => (at as Record<string, unknown> | undefined)?.[key], document);
    expect(found, reference).toBeTypeOf("object");
  }
});

test("a refusal: given a run that nobody made, then it is answered as it is declared", async () => {
  const response = await fetch(`${controller.url}/api/runs/nobody`);
  expect(response.status).toBe(404);
  expect(await response.json()).toEqual({
    code: "RUN_UNKNOWN",
    message: expect.any(String),
    hint: expect.any(String),
    place: null,
  });
});
