import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { type Browser, type BrowserContext, chromium, type Page } from "playwright-core";

/** How the console is looked at. */
export interface Setting {
  readonly name: string;
  readonly width: number;
  readonly height: number;
  readonly colorScheme: "light" | "dark";
}

export const SETTINGS: readonly Setting[] = [
  { name: "1440 px, light", width: 1440, height: 900, colorScheme: "light" },
  { name: "1440 px, dark", width: 1440, height: 900, colorScheme: "dark" },
  { name: "390 px, light", width: 390, height: 844, colorScheme: "light" },
  { name: "390 px, dark", width: 390, height: 844, colorScheme: "dark" },
];

export const first = (settings: readonly Setting[]): Setting => {
  const [setting] = settings;
  if (setting === undefined) throw new Error("no setting");
  return setting;
};

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
  "practice",
] as const;

const CHROMIUM = "/usr/bin/chromium";
const FLAGS = [
  "--headless",
  "--no-sandbox",
  "--disable-gpu",
  "--disable-quic",
  "--no-first-run",
  "--disable-background-networking",
  "--disable-component-update",
  "--disable-sync",
];

export const openBrowser = (): Promise<Browser> => chromium.launch({ executablePath: CHROMIUM, args: FLAGS });

/** A page of the console, and everything that went wrong in it. */
export interface WatchedPage extends AsyncDisposable {
  readonly page: Page;
  /** Errors and warnings on the page's own console, and requests that left the controller's host. */
  readonly troubles: readonly string[];
}

/** @param url the controller's @param motion `reduce` is what a user asks for who is disturbed by movement */
export async function openConsole(
  browser: Browser,
  url: string,
  setting: Setting,
  options: { readonly hash?: string; readonly motion?: "reduce" | "no-preference" } = {},
): Promise<WatchedPage> {
  const context: BrowserContext = await browser.newContext({
    viewport: { width: setting.width, height: setting.height },
    colorScheme: setting.colorScheme,
    reducedMotion: options.motion ?? "no-preference",
  });
  const page = await context.newPage();
  const troubles: string[] = [];
  page.on("console", (message) => {
    if (message.type() === "error" || message.type() === "warning")
      troubles.push(`${message.type()}: ${message.text()}`);
  });
  page.on("pageerror", (error) => troubles.push(`page error: ${error.message}`));
  page.on("request", (request) => {
    const { origin, protocol } = new URL(request.url());
    if (origin !== url && protocol !== "data:" && protocol !== "blob:") troubles.push(`request to ${request.url()}`);
  });
  await page.goto(`${url}/${options.hash ?? ""}`);
  return { page, troubles, [Symbol.asyncDispose]: () => context.close() };
}

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

/** Of less weight by axe-core's own rating, or switched off by it, and wanted here all the same. */
const WANTED = ["heading-order", "label-content-name-mismatch"];

/** What axe-core finds on the page that is serious or critical, or breaks one of the rules above. */
export async function seriousViolations(page: Page): Promise<string[]> {
  if (!(await page.evaluate("'axe' in window"))) await page.evaluate(AXE);
  const found = (await page.evaluate(`axe.run({
    resultTypes: ["violations"],
    rules: { "label-content-name-mismatch": { enabled: true } },
  })`)) as {
    violations: { id: string; impact: string | null; nodes: { html: string }[] }[];
  };
  return found.violations
    .filter(({ id, impact }) => impact === "serious" || impact === "critical" || WANTED.includes(id))
    .map(
      ({ id, nodes }) =>
        `${id}: ${nodes
          .slice(0, 3)
          .map((node) => node.html.slice(0, 160))
          .join(" | ")}`,
    );
}

/** How far the page is wider than its window, in pixels. */
export const overhangPx = (page: Page): Promise<number> =>
  page.evaluate("document.documentElement.scrollWidth - document.documentElement.clientWidth") as Promise<number>;
