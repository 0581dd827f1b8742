import { computed, type ReadonlySignal, signal } from "@preact/signals";

export const PAGES = ["map", "run", "live", "findings", "runs", "agents", "plan", "audit"] as const;
export type Page = (typeof PAGES)[number];

/** `#/runs/0123abcd?against=…` as parts. */
export interface Route {
  readonly page: Page;
  /** What follows the page's name; null for the page itself. */
  readonly of: string | null;
  readonly query: URLSearchParams;
}

const hash = signal(location.hash);
addEventListener("hashchange", () => {
  hash.value = location.hash;
});

export const route: ReadonlySignal<Route> = computed(() => parseRoute(hash.value));

export function parseRoute(text: string): Route {
  const [path = "", query = ""] = text.replace(/^#\/?/, "").split("?");
  const [first = "", of] = path.split("/");
  const page = PAGES.find((candidate) => candidate === first) ?? "map";
  return { page, of: of === undefined || of === "" ? null : decodeURIComponent(of), query: new URLSearchParams(query) };
}

export const hrefTo = (page: Page, of?: string, query?: Readonly<Record<string, string>>): string =>
  `#/${page}${of === undefined ? "" : `/${encodeURIComponent(of)}`}${query === undefined ? "" : `?${new URLSearchParams(query)}`}`;

export const goTo = (page: Page, of?: string): void => {
  location.hash = hrefTo(page, of);
};
