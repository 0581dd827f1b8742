export const PAGES = [
  "map",
  "run",
  "live",
  "story",
  "findings",
  "night",
  "runs",
  "agents",
  "inventory",
  "plan",
  "switches",
  "practice",
  "audit",
] as const;
export type Page = (typeof PAGES)[number];

/** `#/findings/0123abcd?finding=1` as parts. */
export interface Route {
  readonly page: Page;
  /** The run that the address names; null where it names none. */
  readonly of: string | null;
  readonly query: URLSearchParams;
}

export function parseRoute(text: string): Route {
  const [path = "", query = ""] = text.replace(/^#\/?/, "").split("?");
  const [first = "", of] = path.split("/");
  const page = PAGES.find((candidate) => candidate === first) ?? "map";
  return { page, of: of === undefined || of === "" ? null : decoded(of), query: new URLSearchParams(query) };
}

/** A run's id needs no decoding; an address that somebody mistyped must not end the page. */
function decoded(text: string): string {
  try {
    return decodeURIComponent(text);
  } catch {
    return text;
  }
}
