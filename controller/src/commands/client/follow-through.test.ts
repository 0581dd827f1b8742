import { once } from "node:events";
import { createServer, type RequestListener, type Server } from "node:http";
import type { AddressInfo } from "node:net";
import type { RunProgress } from "@dyetrace/wire";
import { afterEach, expect, test } from "vitest";
import { ControllerClient } from "./controller-client.ts";
import { followThrough } from "./follow-through.ts";

const RUN = "00000000000000aa";
const PATIENCE = { awayMs: 150, retryMs: 10 };
const SECOND: RunProgress = { kind: "second", atMs: 1000, receivedPackets: 7, next: null };
const FAILED: RunProgress = { kind: "failed", code: "AGENT_LOST", message: "made up", hint: "" };
const UNFINISHED = JSON.stringify({ report: null, failure: null });

const open = new Set<Server>();
afterEach(() => {
  for (const server of open) server.close().closeAllConnections();
  open.clear();
});

/** A controller that is no more than its answers. @param port 0 takes a free one */
async function serve(
  port: number,
  answer: RequestListener,
): Promise<{ readonly port: number; readonly end: () => void }> {
  const server = createServer(answer).listen(port, "127.0.0.1");
  open.add(server);
  await once(server, "listening");
  return {
    port: (server.address() as AddressInfo).port,
    end: () => {
      server.close();
      server.closeAllConnections();
    },
  };
}

const clientOf = (port: number) => new ControllerClient(`http://127.0.0.1:${port}`, { pin: null, token: null });

async function allOf(progress: AsyncIterable<RunProgress>): Promise<readonly RunProgress[]> {
  const all: RunProgress[] = [];
  for await (const one of progress) all.push(one);
  return all;
}

test("followThrough: given a controller that is killed in the middle and comes back, then the run is followed to its end", async () => {
  const told: string[] = [];
  const first = await serve(0, (_request, response) => {
    response.write(`${JSON.stringify(SECOND)}\n{"kind":"sec`, () => {
      first.end();
      setTimeout(() => void serve(first.port, second), 40);
    });
  });
  let asked = 0;
  const second: RequestListener = ({ url }, response) => {
    if (url === `/api/runs/${RUN}`) return response.end(UNFINISHED);
    // It has not taken the run up yet when it is asked first.
    if (asked++ > 0) return response.end(`${JSON.stringify(SECOND)}\n${JSON.stringify(FAILED)}\n`);
    return response
      .writeHead(404)
      .end(JSON.stringify({ code: "RUN_UNKNOWN", message: "There is no run here", hint: "" }));
  };
  const hooks = { onAway: () => told.push("away"), onBack: () => told.push("back") };
  const patient = { ...PATIENCE, awayMs: 5000 };
  expect(await allOf(followThrough(clientOf(first.port), RUN, hooks, patient))).toEqual([SECOND, SECOND, FAILED]);
  expect(told).toEqual(["away", "back"]);
});

test("followThrough: given a run that ended while the controller was away, then its stored end is told", async () => {
  const failure = { code: "AGENT_LOST", message: "made up", hint: "" };
  const { port } = await serve(0, ({ url }, response) => {
    if (url === `/api/runs/${RUN}`) return response.end(JSON.stringify({ report: null, failure }));
    return response
      .writeHead(404)
      .end(JSON.stringify({ code: "RUN_UNKNOWN", message: "There is no run here", hint: "" }));
  });
  expect(await allOf(followThrough(clientOf(port), RUN, {}, PATIENCE))).toEqual([FAILED]);
});

test("followThrough: given a controller that stays away, then it ends in a sentence with the run's id", async () => {
  const { port, end } = await serve(0, (_request, response) => void response.write(`${JSON.stringify(SECOND)}\n`, end));
  const following = allOf(followThrough(clientOf(port), RUN, {}, PATIENCE));
  await expect(following).rejects.toMatchObject({
    code: "CONTROLLER_UNREACHABLE",
    message: `The controller has told nothing of run ${RUN} for 150 ms`,
  });
});

test("followThrough: given a controller that has forgotten who signed in, then that is said with the run's id", async () => {
  const { port } = await serve(0, (_request, response) =>
    response.writeHead(401).end(JSON.stringify({ code: "NOT_SIGNED_IN", message: "Sign in first", hint: "" })),
  );
  await expect(allOf(followThrough(clientOf(port), RUN, {}, PATIENCE))).rejects.toMatchObject({
    code: "NOT_SIGNED_IN",
    hint: `Run ${RUN} may go on; \`dyetrace report ${RUN}\` tells`,
  });
});

test("ControllerClient: given an answer that is cut off, then it is a sentence and no trace", async () => {
  const { port } = await serve(0, (_request, response) => {
    response.writeHead(200, { "content-length": 100 });
    response.write('{"half":', () => response.destroy());
  });
  await expect(clientOf(port).get("/api/agents")).rejects.toMatchObject({ code: "CONTROLLER_UNREACHABLE" });
});
