import { readFileSync } from "node:fs";
import { createRequire } from "node:module";
import { type Browser, type BrowserContext, chromium, type Page, type Request } from "playwright-core";

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
  "switches",
  "practice",
  "audit",
] as const;

/** A page follows these as long as it is open. */
const EVENTS = "/api/console/events";
const SETTLED_WITHIN_MS = 30_000;
const DRAWN = "new Promise((done) => requestAnimationFrame(() => requestAnimationFrame(() => done(null))))";

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

let shared: Promise<Browser> | undefined;

/** One browser for all files of a worker: to start one takes a second or two. It ends with the worker, and none closes it. */
export function openBrowser(): Promise<Browser> {
  shared ??= chromium.launch({ executablePath: CHROMIUM, args: FLAGS });
  return shared;
}

/** A page of the console, and everything that went wrong in it. */
export interface WatchedPage extends AsyncDisposable {
  readonly page: Page;
  /** Errors and warnings on the page's own console, and requests that left the controller's host. */
  readonly troubles: readonly string[];
  /** Waits until the page has everything that it asked for, and has drawn it. */
  settled(): Promise<void>;
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
  const asked = new Set<Request>();
  page.on("request", (request) => {
    if (!request.url().endsWith(EVENTS)) asked.add(request);
  });
  page.on("requestfinished", (request) => asked.delete(request));
  page.on("requestfailed", (request) => asked.delete(request));
  const settled = async (): Promise<void> => {
    await page.evaluate(DRAWN);
    for (const deadline = Date.now() + SETTLED_WITHIN_MS; asked.size > 0; ) {
      if (Date.now() > deadline) throw new Error(`Not answered: ${[...asked].map((one) => one.url()).join(", ")}`);
      await new Promise((resolve) => setTimeout(resolve, 20));
    }
    await page.evaluate(DRAWN);
  };
  await page.goto(`${url}/${options.hash ?? ""}`);
  return { page, troubles, settled, [Symbol.asyncDispose]: () => context.close() };
}

const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

/** Of less weight by axe-core's own rating, or switched off by it, and wanted here all the same. */
const WANTED = ["heading-order", "label-content-name-mismatch"];

/** All that another scheme can change: it colours the page and moves nothing. */
const OF_COLOUR = ["color-contrast", "link-in-text-block"];
const OTHER = { light: "dark", dark: "light" } as const;

/** The page as wide as it is, in both schemes: what sticks out, and what axe-core finds. At the end it is as it was. */
export async function troublesInBothSchemes(page: Page): Promise<string[]> {
  const scheme = await schemeOf(page);
  const over = await overhangPx(page);
  const found = [
    ...(over > 0 ? [`${over} px stick out`] : []),
    ...((await page.evaluate(SMALL_FIELDS)) as string[]),
    ...(await seriousViolations(page, null)),
  ];
  await page.emulateMedia({ colorScheme: OTHER[scheme] });
  await page.evaluate(DRAWN);
  const others = await seriousViolations(page, OF_COLOUR);
  await page.emulateMedia({ colorScheme: scheme });
  await page.evaluate(DRAWN);
  return [...found.map((one) => `${scheme}: ${one}`), ...others.map((one) => `${OTHER[scheme]}: ${one}`)];
}

/**
 * In the page: fields that nobody can type into or choose from. 24 px: WCAG 2.2, criterion 2.5.8, of which axe-core leaves out
 * fields with room around them; 60 px across: common practice, no source.
 */
const SMALL_FIELDS = `[...document.querySelectorAll("input, select, textarea")].flatMap((field) => {
  const { width, height } = field.getBoundingClientRect();
  const isMark = field.type === "checkbox" || field.type === "radio";
  if (!field.checkVisibility() || isMark || (width >= 60 && height >= (field.type === "range" ? 0 : 24))) return [];
  return [Math.round(width) + " x " + Math.round(height) + " px: " + field.outerHTML.slice(0, 120)];
})`;

const schemeOf = async (page: Page): Promise<"light" | "dark"> =>
  (await page.evaluate("matchMedia('(prefers-color-scheme: dark)').matches")) ? "dark" : "light";

/** Each width and each scheme once; the other scheme is looked at beside it. */
const JUDGED = SETTINGS.filter(({ name }) => name === "1440 px, light" || name === "390 px, dark");

/**
 * The page as it stands, in every setting: what sticks out, and what axe-core finds. The page keeps what is open on it, so
 * that nobody has to come here four times. At the end it is as it was.
 */
export async function troublesInEverySetting(page: Page): Promise<string[]> {
  const before = page.viewportSize();
  const scheme = await schemeOf(page);
  const found: string[] = [];
  for (const { width, height, colorScheme } of JUDGED) {
    await page.setViewportSize({ width, height });
    await page.emulateMedia({ colorScheme });
    await page.evaluate(DRAWN);
    found.push(...(await troublesInBothSchemes(page)).map((trouble) => `${width} px, ${trouble}`));
  }
  if (before !== null) await page.setViewportSize(before);
  await page.emulateMedia({ colorScheme: scheme });
  await page.evaluate(DRAWN);
  return found;
}

/**
 * What axe-core finds on the page that is serious or critical, or breaks one of the rules above.
 * @param rules looked at alone; null: all
 */
async function seriousViolations(page: Page, rules: readonly string[] | null): Promise<string[]> {
  if (!(await page.evaluate("'axe' in window"))) await page.evaluate(AXE);
  const found = (await page.evaluate(`axe.run({
    resultTypes: ["violations"],
    ${
      rules === null
        ? 'rules: { "label-content-name-mismatch": { enabled: true } }'
        : `runOnly: { type: "rule", values: ${JSON.stringify(rules)} }`
    },
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
