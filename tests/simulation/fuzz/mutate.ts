import { drawInteger, drawOne, type Random } from "../seeded-random.ts";

type Json = null | boolean | number | string | Json[] | { [key: string]: Json };

/** Values that break what takes its input for granted: at the ends of numbers, of texts, and of what an object is. */
const HARMFUL: readonly Json[] = [
  null,
  true,
  -1,
  0,
  0.5,
  -0,
  2 ** 31,
  2 ** 53,
  1e18,
  1e300,
  -1e300,
  "",
  "\u0000",
  "\u001b[2K",
  "\ud800",
  "__proto__",
  "NaN",
  "9".repeat(400),
  "ff02::1%lo",
  "0.0.0.0/0",
  "x".repeat(5000),
  [],
  {},
  [[[[[[]]]]]],
];
const harmful = (random: Random): Json => structuredClone(drawOne(random, HARMFUL));
/** Rarely many: what is large takes its time, and is told from what takes more time than its size. */
const GROWTHS = [...Array(15).fill(2), ...Array(4).fill(20), 300];
const KEYS = ["__proto__", "constructor", "length", "toString", "then"];

/** Changes one to four places of a JSON value: another value, a place left out, repeated, exchanged or grown. */
export function mutateJson(whole: unknown, random: Random): unknown {
  const value = JSON.parse(JSON.stringify(whole)) as Json;
  for (let left = drawInteger(random, 1, 4); left > 0; left--) mutateOne(value, random);
  return JSON.parse(JSON.stringify(value)); // as it comes over a connection
}

function mutateOne(root: Json, random: Random): void {
  let holder = root;
  for (let depth = drawInteger(random, 0, 8); depth > 0; depth--) {
    const inner = Object.values(holder as object).filter(
      (one): one is Json[] => typeof one === "object" && one !== null,
    );
    if (inner.length === 0) break;
    holder = drawOne(random, inner);
  }
  if (typeof holder !== "object" || holder === null) return;
  if (Array.isArray(holder)) mutateList(holder, random);
  else mutateObject(holder, random);
}

function mutateList(list: Json[], random: Random): void {
  const at = drawInteger(random, 0, Math.max(0, list.length - 1));
  switch (drawInteger(random, 0, 4)) {
    case 0:
      list[at] = harmful(random);
      break;
    case 1:
      list.splice(at, 1);
      break;
    case 2:
      for (let times = drawOne(random, GROWTHS); times > 0; times--) list.push(structuredClone(list[at] ?? null));
      break;
    case 3:
      list.reverse();
      break;
    default:
      if (typeof list[at] === "number") list[at] = near(list[at], random);
  }
}

function mutateObject(object: { [key: string]: Json }, random: Random): void {
  const keys = Object.keys(object);
  if (keys.length === 0) return;
  const key = drawOne(random, keys);
  const old = object[key] ?? null;
  switch (drawInteger(random, 0, 4)) {
    case 0:
      object[key] = harmful(random);
      break;
    case 1:
      delete object[key];
      break;
    case 2:
      Object.defineProperty(object, drawOne(random, KEYS), {
        value: old,
        enumerable: true,
        configurable: true,
        writable: true,
      });
      break;
    case 3:
      object[key] = structuredClone(object[drawOne(random, keys)] ?? null);
      break;
    default:
      object[key] = typeof old === "number" ? near(old, random) : old;
  }
}

const near = (number: number, random: Random): number =>
  drawOne(random, [number + 1, number - 1, -number, number * 2, number / 3, number * 1e6, number + 2 ** 32]);

/** What means something in YAML, and what our files are made of. */
const PIECES = [
  "{",
  "}",
  "[",
  "]",
  ": ",
  "- ",
  "\n",
  " ",
  "&a ",
  "*a",
  "!!binary ",
  "<<: *a",
  "'",
  '"',
  "# ",
  "|\n",
  "\t",
];
const WORDS = [
  "0s",
  "-1s",
  "1e9 s",
  "2026-99-99",
  "$length",
  "1e300 bit/s",
  "239.0.0.1",
  "ff15::1",
  "__proto__",
  "core:1 -- core:1",
  "%ff",
  "%",
  "\ud800",
];

/** Changes one to four places of a text: pieces left out, repeated up to a thousand times, put in, or other characters. */
export function mutateText(text: string, random: Random): string {
  let mutated = text;
  for (let left = drawInteger(random, 1, 4); left > 0; left--) {
    const at = drawInteger(random, 0, mutated.length);
    const length = drawInteger(random, 1, 40);
    const [before, piece, after] = [mutated.slice(0, at), mutated.slice(at, at + length), mutated.slice(at + length)];
    switch (drawInteger(random, 0, 4)) {
      case 0:
        mutated = before + after;
        break;
      case 1:
        mutated = before + piece.repeat(drawOne(random, GROWTHS)) + after;
        break;
      case 2:
        mutated = before + drawOne(random, PIECES) + piece + after;
        break;
      case 3:
        mutated = before + drawOne(random, WORDS) + after;
        break;
      default:
        mutated = before + String.fromCharCode(drawInteger(random, 0, 0x2fff)) + after;
    }
  }
  return mutated;
}
