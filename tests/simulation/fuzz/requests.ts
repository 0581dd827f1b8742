import { drawInteger, drawOne, type Random } from "../seeded-random.ts";
import { mutateJson, mutateText } from "./mutate.ts";

/** A route as it is declared: `GET /api/runs/{id}`. */
export interface Route {
  readonly method: string;
  readonly url: string;
}

export interface MadeRequest {
  readonly method: string;
  readonly url: string;
  readonly headers: Readonly<Record<string, string>>;
  readonly payload: string | undefined;
}

/** What a client of ours would send: paths' words, queries and bodies by the route. */
export interface KnownWords {
  readonly params: Readonly<Record<string, readonly string[]>>;
  readonly queries: readonly string[];
  readonly bodies: Readonly<Record<string, object>>;
}

/** Words that an object of JavaScript knows without having them, and such as break paths, databases and files. */
const HOSTILE = [
  "__proto__",
  "constructor",
  "hasOwnProperty",
  "%00",
  "%0d%0aX-More:%201",
  "..%2f..%2fetc%2fpasswd",
  "%ff",
  "%",
  "'%20or%201=1--",
  "{}",
  "*",
  "last",
  "-1",
  "9".repeat(400),
  "x".repeat(3000),
  "%F0%9F%98%80",
];
const HEADERS: readonly (readonly [name: string, values: readonly string[]])[] = [
  ["origin", ["null", "http://elsewhere.example", "http://[", "http://127.0.0.1:1", "x".repeat(5000)]],
  ["host", ["", "127.0.0.1", "localhost:99999", "[::1", "elsewhere.example", "a b", "\u00ff"]],
  ["cookie", ["dyetrace-session", "dyetrace-session=%ff", "=;=;=", "a=1; ".repeat(2000), "__proto__=1"]],
  ["authorization", ["Bearer", "Bearer \u00ff", "Basic eDp5", `Bearer ${"A".repeat(8000)}`]],
  ["x-dyetrace-form", ["", "x", "0".repeat(5000)]],
  [
    "content-type",
    ["", "text/plain", "application/json; charset=latin1", "multipart/form-data", "application/json;;", "\u00ff"],
  ],
  ["accept-encoding", ["gzip", "identity;q=0", "\u00ff", ",".repeat(2000)]],
  ["accept", ["text/html", "*/*;q=x"]],
  ["range", ["bytes=0-", "bytes=9-1,5", "bytes=-".repeat(500)]],
  ["if-none-match", ["*", '"x"', "W/".repeat(1000)]],
  ["if-modified-since", ["never", "Thu, 01 Jan 1970 00:00:00 GMT"]],
  ["x-forwarded-for", ["127.0.0.1", "::1, x", "\u0001"]],
  ["x-forwarded-host", ["127.0.0.1"]],
  ["x-http-method-override", ["DELETE"]],
  ["transfer-encoding", ["chunked", "gzip"]],
  ["content-length", ["0", "-1", "1e9", "x"]],
  ["expect", ["100-continue"]],
];
const METHODS = ["GET", "HEAD", "POST", "PUT", "DELETE", "OPTIONS", "PATCH"];

/** A request to one of the routes, right in much and wrong in one thing or two. */
export function makeRequest(routes: readonly Route[], known: KnownWords, random: Random): MadeRequest {
  const route = drawOne(random, routes);
  const isWrong = (share: number): boolean => random() < share;
  const method = isWrong(0.03) ? drawOne(random, METHODS) : route.method;
  const path = route.url.replaceAll(/\{(\w+)\}/g, (_all, name: string) => {
    const right = drawOne(random, known.params[name] ?? ["x"]);
    if (isWrong(0.15)) return drawOne(random, HOSTILE);
    return isWrong(0.1) ? asWritten(mutateText(right, random)) : right;
  });
  const query = isWrong(0.4) ? drawOne(random, known.queries) : "";
  const asked = isWrong(0.3) ? asWritten(mutateText(query, random)) : query;
  const headers: Record<string, string> = {};
  for (let left = isWrong(0.15) ? drawInteger(random, 1, 3) : 0; left > 0; left--) {
    const [name, values] = drawOne(random, HEADERS);
    headers[name] = drawOne(random, values);
  }
  const url = `${isWrong(0.03) ? asWritten(mutateText(path, random)) : path}${asked === "" ? "" : `?${asked}`}`;
  const hasBody = method !== "GET" && method !== "HEAD" && method !== "OPTIONS";
  if (hasBody) headers["content-type"] ??= "application/json";
  const body = known.bodies[`${route.method} ${route.url}`] ?? {};
  return {
    method,
    url: url.startsWith("/") ? url : `/${url}`,
    headers,
    payload: hasBody ? bodyOf(body, random) : undefined,
  };
}

function bodyOf(body: object, random: Random): string {
  const turn = random();
  if (turn < 0.1) return JSON.stringify(body);
  if (turn < 0.7) return JSON.stringify(mutateJson(body, random));
  if (turn < 0.8) return JSON.stringify(withFileText(body, random));
  return drawOne(random, [
    mutateText(JSON.stringify(body), random),
    "null",
    "[]",
    "",
    '{"__proto__":{"a":1}}',
    "[".repeat(50_000),
  ]);
}

/** Its files with other words inside. */
const withFileText = (body: object, random: Random): unknown =>
  JSON.parse(JSON.stringify(body), (key, value: unknown) =>
    key === "text" && typeof value === "string" ? mutateText(value, random) : value,
  );

/** As a client writes it: what no path may hold is written with `%`. */
const asWritten = (text: string): string =>
  text.replaceAll(/[^!-~]/gu, (character) => (/\p{Surrogate}/u.test(character) ? "?" : encodeURIComponent(character)));
