import type { Browser } from "playwright-core";
import { afterAll, beforeAll, expect, test } from "vitest";
import {
  type OperatorsController,
  operatorRecord,
  PASSWORD,
  startWithOperators,
} from "../field/support/operators-controller.ts";
import { first, openBrowser, openConsole, SETTINGS, troublesInEverySetting } from "./support/console-browser.ts";

let controller: OperatorsController;
let browser: Browser;
beforeAll(async () => {
  controller = await startWithOperators([await operatorRecord("anna")]);
  browser = await openBrowser();
});
afterAll(async () => {
  await controller?.[Symbol.asyncDispose]();
});

test("console: given a controller that asks who one is, then it shows nothing before, and after signing in it makes a line for a host and tells who did what", async () => {
  await using console = await openConsole(browser, controller.url, first(SETTINGS), { hash: "#/agents" });
  const { page } = console;
  await page.getByRole("heading", { name: "Sign in" }).waitFor();
  expect(await page.getByText("Bring a host in").count()).toBe(0);
  expect(await troublesInEverySetting(page)).toEqual([]);
  await page.getByLabel("Name").fill("anna");
  await page.getByLabel("Password").fill("not the password");
  await page.getByRole("button", { name: "Sign in" }).click();
  await page.getByText("That name and password do not go together").waitFor();
  await page.getByLabel("Password").fill(PASSWORD);
  await page.getByRole("button", { name: "Sign in" }).click();
  await page.getByRole("heading", { name: "Bring a host in" }).waitFor();
  await page.getByLabel(/^Its name/).fill("kiosk");
  await page.getByRole("button", { name: "Make the line" }).click();
  const line = page.locator(".copy-line code").first();
  await line.waitFor();
  expect(await line.textContent()).toMatch(
    /^s=\$\(curl -fsS .*\/agent\/install\) && echo enrol-[0-9a-f]{16}\.[A-Za-z0-9_-]{43} \| .* --name kiosk$/,
  );
  // A token of a program: shown once, listed, and taken away.
  await page.getByText("None yet.").waitFor();
  await page.getByLabel("Name of the token").fill("prometheus");
  await page.getByRole("button", { name: "Make the token" }).click();
  const token = page.locator(".copy-line code").filter({ hasText: "dyetrace_" });
  const text = (await token.textContent()) ?? "";
  expect(text).toMatch(/^dyetrace_[0-9a-f]{16}_[A-Za-z0-9_-]{43}$/);
  await page.getByText(/^view, ends /).waitFor();
  const scrape = (): Promise<number> =>
    fetch(`${controller.url}/metrics`, { headers: { authorization: `Bearer ${text}` } }).then(({ status }) => status);
  expect(await scrape()).toBe(200);
  await page.getByRole("button", { name: "Remove prometheus" }).click();
  await page.getByRole("button", { name: "Really remove prometheus?" }).click();
  await page.getByText("None yet.").waitFor();
  expect(await scrape()).toBe(401);
  // Another operator: added, signs in, and is taken away; nobody takes his own access away.
  await page.getByLabel("Name of the operator").fill("ben");
  await page.getByLabel(/^First password/).fill("a long first password");
  await page.getByRole("button", { name: "Add the operator" }).click();
  await page.getByRole("button", { name: "Remove ben" }).waitFor();
  expect(await page.getByRole("button", { name: "Remove anna" }).count()).toBe(0);
  expect(await troublesInEverySetting(page)).toEqual([]);
  const signIn = (password: string): Promise<number> =>
    fetch(`${controller.url}/api/sign-in`, {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify({ name: "ben", password }),
    }).then(({ status }) => status);
  expect(await signIn("a long first password")).toBe(200);
  await page.getByRole("button", { name: "Remove ben" }).click();
  await page.getByRole("button", { name: /^Really remove ben/ }).click();
  await page.getByRole("button", { name: "Remove ben" }).waitFor({ state: "detached" });
  expect(await signIn("a long first password")).toBe(401);
  await page.getByRole("link", { name: "Log" }).click();
  await page.getByText('added operator "ben" to "view"').waitFor();
  await page.getByText('made the token "prometheus" to "view"').waitFor();
  await page.getByText('made a key to enrol "kiosk"').waitFor();
  expect(await page.getByText("anna").count()).toBeGreaterThan(0);
  expect(await troublesInEverySetting(page)).toEqual([]);
  await page.getByRole("button", { name: "Sign out" }).click();
  await page.getByRole("heading", { name: "Sign in" }).waitFor();
  // What a refused question says on the browser's own console is its business.
  expect(console.troubles.filter((trouble) => !/status of 401/.test(trouble))).toEqual([]);
});
