import type { Locator, Page } from "playwright-core";

/** Counts what a hand presses on a page from now on, also on pages that are opened in its place. */
export async function countPresses(page: Page): Promise<() => Promise<number>> {
  await page.evaluate(`
    window.presses = 0;
    addEventListener("pointerdown", (event) => { if (event.isTrusted) window.presses++; }, true);
  `);
  return () => page.evaluate("window.presses") as Promise<number>;
}

/** More stops than any page has. */
const MOST_STOPS = 150;

/**
 * Walks with the Tab key alone until `wanted` has the focus.
 * @param back with Shift, the other way round
 * @throws {Error} where it is never reached, is out of sight there, or nothing shows that it has the focus
 */
export async function tabTo(page: Page, wanted: Locator, back = false): Promise<void> {
  await wanted.waitFor();
  for (let stop = 0; stop < MOST_STOPS; stop++) {
    if (await wanted.evaluate((element) => element === element.ownerDocument.activeElement)) {
      const trouble = (await page.evaluate(FOCUS_TROUBLE)) as string | null;
      if (trouble === null) return;
      throw new Error(`${wanted}: ${trouble}`);
    }
    await page.keyboard.press(back ? "Shift+Tab" : "Tab");
  }
  throw new Error(`${wanted} is not reached with the Tab key`);
}

/** In the page: what a reader who follows the focus with his eyes would miss. WCAG 2.2, criteria 2.4.7 and 2.4.11. */
const FOCUS_TROUBLE = `(() => {
  const element = document.activeElement;
  const box = element.getBoundingClientRect();
  const { outlineStyle, outlineWidth } = getComputedStyle(element);
  if (outlineStyle === "none" || outlineWidth === "0px") return "nothing shows that it has the focus";
  return box.bottom <= 0 || box.top >= innerHeight ? "it is out of sight" : null;
})()`;
