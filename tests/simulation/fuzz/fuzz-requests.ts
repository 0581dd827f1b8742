import { performance } from "node:perf_hooks";
import { setImmediate } from "node:timers/promises";
import type { FastifyInstance } from "fastify";
import { drawInteger, seededRandom } from "../seeded-random.ts";
import type { FuzzFailure } from "./fuzz.ts";
import { type KnownWords, type MadeRequest, makeRequest, type Route } from "./requests.ts";

/** Somebody who asks: what shows who it is. */
export interface Asker {
  readonly kind: string;
  /** Anew for each request: an operator may have been signed out, or used up a share. */
  headers(): Promise<Readonly<Record<string, string>>>;
  told(status: number): void;
}

export interface RequestsResult {
  readonly tries: number;
  /** Answers by their status. */
  readonly statuses: Readonly<Record<number, number>>;
  readonly slowestMs: number;
  readonly failures: readonly FuzzFailure[];
}

const AGAIN = 3;
const MOST_FAILURES = 20;

/**
 * Asks a controller in this process, as one asker after another.
 * @param hangMs the event loop may be busy with a request for so long, again and again
 */
export async function fuzzRequests(
  app: FastifyInstance,
  routes: readonly Route[],
  known: KnownWords,
  askers: readonly Asker[],
  { tries, seed, hangMs }: { readonly tries: number; readonly seed: number; readonly hangMs: number },
): Promise<RequestsResult> {
  const statuses: Record<number, number> = {};
  const failures: FuzzFailure[] = [];
  let slowestMs = 0;
  for (let at = 0; at < tries && failures.length < MOST_FAILURES; at++) {
    const own = (seed + Math.imul(at, 0x9e3779b1)) >>> 0;
    const asker = askers[at % askers.length] as Asker;
    const made = makeRequest(routes, known, seededRandom(own));
    const remoteAddress = addressOf(own);
    const shows = await asker.headers();
    let busyMs = Number.POSITIVE_INFINITY;
    let status = 0;
    for (let times = 0; times < AGAIN && busyMs > hangMs; times++) {
      const [before, usedBefore] = [performance.eventLoopUtilization(), usedMs()];
      status = await ask(app, made, shows, remoteAddress);
      busyMs = Math.min(busyMs, performance.eventLoopUtilization(before).active, usedMs() - usedBefore);
    }
    asker.told(status);
    statuses[status] = (statuses[status] ?? 0) + 1;
    slowestMs = Math.max(slowestMs, busyMs);
    const what = `${asker.kind}: ${made.method} ${made.url.slice(0, 200)} ${(made.payload ?? "").slice(0, 300)}`;
    if (status >= 500) failures.push({ parser: `${status}`, seed: own, what });
    else if (busyMs > hangMs) failures.push({ parser: `took ${Math.round(busyMs)} ms`, seed: own, what });
  }
  return { tries, statuses, slowestMs, failures };
}

async function ask(
  app: FastifyInstance,
  { method, url, headers, payload }: MadeRequest,
  shows: Readonly<Record<string, string>>,
  remoteAddress: string,
): Promise<number> {
  const answer = await app.inject({
    method: method as "GET",
    url,
    headers: { host: "127.0.0.1", ...shows, ...headers },
    remoteAddress,
    payloadAsStream: true, // what tells on and on never ends
    ...(payload === undefined ? {} : { payload }),
  });
  const told = answer.stream();
  if (String(answer.headers["content-type"]).includes("ndjson")) told.destroy();
  else for await (const _part of told);
  await setImmediate(); // what it has put off is done now
  return answer.statusCode;
}

/** This process' own time on the processor, its other threads' too: what else the machine does counts for nothing. */
function usedMs(): number {
  const { user, system } = process.cpuUsage();
  return (user + system) / 1000;
}

/** Another network each time: what one of them may ask in a minute is not the question here. */
const addressOf = (seed: number): string => {
  const random = seededRandom(seed);
  return `198.${18 + drawInteger(random, 0, 1)}.${drawInteger(random, 0, 255)}.${drawInteger(random, 1, 254)}`; // RFC 2544
};
