import type { Fault } from "@dyetrace/wire";

/**
 * What a script gets in the place of the JSON that it asked for on standard output: the refusal, with the keys of the HTTP API.
 * @returns null where it asked for none there
 */
export function refusalJson(argv: readonly string[], { code, message, hint, place }: Fault): string | null {
  const at = argv.indexOf("--json");
  const next = argv[at + 1] ?? "-";
  const isAsked = argv.includes("--json=-") || (at >= 0 && next.startsWith("-"));
  return isAsked ? `${JSON.stringify({ error: { code, message, hint, place: place ?? null } }, null, 2)}\n` : null;
}
