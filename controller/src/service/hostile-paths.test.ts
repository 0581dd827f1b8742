import type { FastifyInstance } from "fastify";
import { pino } from "pino";
import { afterAll, beforeAll, expect, test } from "vitest";
import { type Controller, startController } from "./controller-service.ts";

/** Words that an object of JavaScript knows without having them, and such as break paths, databases and files. */
const HOSTILE = ["__proto__", "constructor", "%00", "..%2f..%2fetc", "%ff", "x".repeat(3000)];
const QUERIES = ["?most=-1", "?against=a&against=b", "?finding=__proto__", "?__proto__=1", "?most[]=1"];
const BODIES = ["null", "[]", '{"__proto__":{"a":1}}', '{"constructor":{"prototype":{"a":1}}}'];

const PLAN = `site: Quillfen
nodes: { core: { kind: switch, querier: true }, tower: { kind: host }, kiosk: { kind: host } }
links: [ "core:1 -- tower:eth0", "core:2 -- kiosk:eth0" ]
`;
const SCENARIO = `scenario: reach
streams: [ { name: board, source: tower, group: 239.195.10.4, rate: 2 Mbit/s } ]
timeline: [ { at: 0s, join: board, agents: [kiosk] }, { at: 1s, emit: board }, { at: 2s, stop: board } ]
`;

let controller: Controller;
let app: FastifyInstance;
let runId = "";
let routes: readonly (readonly [method: string, url: string])[] = [];
beforeAll(async () => {
  const log = pino({ level: "silent" });
  controller = await startController({ host: "127.0.0.1", port: 0, agentKey: "key", log }, (made) => {
    app = made;
  });
  const { paths } = (await app.inject("/api/openapi.json")).json<{ paths: Record<string, object> }>();
  const listed = Object.entries(paths).flatMap(([url, methods]) =>
    Object.keys(methods).map((method) => [method.toUpperCase(), url] as const),
  );
  const hidden = [
    ["POST", "/agent/enrol"],
    ["GET", "/{file}"],
    ["GET", "/assets/{file}"],
  ] as const;
  const request = { site: { file: "p", text: PLAN }, scenario: { file: "s", text: SCENARIO } };
  const started = await app.inject({ method: "POST", url: "/api/runs", payload: request });
  ({ runId } = started.json<{ runId: string }>()); // it ends at once: no agent is here
  routes = [...listed, ...hidden].filter(([, url]) => !/events$|openapi/.test(url));
});
afterAll(() => controller?.close());

test("every route: given words, queries and bodies that no client of ours sends, then it is refused, and nothing fails", async () => {
  expect(routes.length).toBeGreaterThan(25);
  const failed: string[] = [];
  const ask = async (method: string, url: string, body?: string): Promise<void> => {
    const content = body === undefined ? {} : { payload: body, headers: { "content-type": "application/json" } };
    const { statusCode } = await app.inject({ method: method as "GET", url, ...content });
    if (statusCode >= 500) failed.push(`${statusCode} ${method} ${url.slice(0, 100)} ${body ?? ""}`);
  };
  for (const [method, url] of routes) {
    const path = url.replaceAll(/\{\w+\}/g, runId);
    const words = url.includes("{") ? HOSTILE : [];
    const paths = words.map((word) => url.replace("{id}", word === "%00" ? word : runId).replaceAll(/\{\w+\}/g, word));
    const asked = [
      ...paths.map((one) => ask(method, one, method === "GET" ? undefined : "{}")),
      ...(method === "GET" ? QUERIES.map((query) => ask(method, path + query)) : []),
      ...(method === "GET" ? [] : BODIES.map((body) => ask(method, path, body))),
    ];
    await Promise.all(asked);
  }
  expect(failed).toEqual([]);
});
