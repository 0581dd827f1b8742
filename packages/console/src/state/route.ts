import { computed, type ReadonlySignal, signal } from "@preact/signals";
import { type Page, parseRoute, type Route } from "./parse-route.ts";

/** What an address may have beside its run, and what goes along from page to page. */
export type Query = Readonly<Record<string, string>>;
const TAKEN_ALONG = ["stream", "place", "finding"] as const;

const hash = signal(location.hash);
addEventListener("hashchange", () => {
  hash.value = location.hash;
});

export const route: ReadonlySignal<Route> = computed(() => parseRoute(hash.value));

export function hrefTo(page: Page, of?: string, query: Query = {}): string {
  const words = new URLSearchParams(query).toString();
  return `#/${page}${of === undefined ? "" : `/${encodeURIComponent(of)}`}${words === "" ? "" : `?${words}`}`;
}

/** To another page about the same run, stream, place and finding. */
export const hrefAlong = (page: Page, { of, query } = route.value): string =>
  hrefTo(page, of ?? undefined, takenAlong(query));

/** To a page about the same run, with `changes` to what goes along; null takes it out. */
export function hrefChanged(page: Page, changes: Readonly<Record<string, string | null>>): string {
  const { of, query } = route.value;
  const all = Object.entries({ ...takenAlong(query), ...changes });
  return hrefTo(
    page,
    of ?? undefined,
    Object.fromEntries(all.filter((one): one is [string, string] => one[1] !== null)),
  );
}

const takenAlong = (query: URLSearchParams): Query =>
  Object.fromEntries(
    TAKEN_ALONG.flatMap((key) => {
      const value = query.get(key);
      return value === null ? [] : [[key, value]];
    }),
  );

export const goTo = (page: Page, of?: string): void => {
  location.hash = hrefTo(page, of);
  // The event comes later: until then, news of a run would put the page that is left back into the address.
  hash.value = location.hash;
};

/** Another address for the page that is shown; Back does not stop at the one before it. */
export function replaceAddress(href: string): void {
  if (href === hash.value) return;
  history.replaceState(null, "", href);
  hash.value = href;
}
