import { type FaultCode, faultCodeOf } from "@dyetrace/wire";

/** A refusal or failure of the controller's, or of the way to it: a sentence and what to do. */
export class Refusal extends Error {
  override readonly name = "Refusal";
  readonly code: FaultCode;
  readonly hint: string;

  constructor(code: FaultCode, message: string, hint: string) {
    super(message);
    this.code = code;
    this.hint = hint;
  }
}

/** What whoever has signed in sends along with every change; no other site's page knows it. */
let formToken: string | null = null;

export function takeFormToken(token: string | null): void {
  formToken = token;
}

export interface AskOptions {
  readonly method?: "GET" | "POST" | "PUT" | "PATCH" | "DELETE";
  readonly body?: unknown;
  readonly signal?: AbortSignal;
}

/** @throws {Refusal} the controller's own, or CONTROLLER_UNREACHABLE */
export async function askController<T>(path: string, options: AskOptions = {}): Promise<T> {
  return JSON.parse(await (await openAnswer(path, options)).text()) as T;
}

/** An answer that is good, and not read yet. @throws {Refusal} as above */
export async function openAnswer(path: string, options: AskOptions): Promise<Response> {
  const { method = "GET", body, signal } = options;
  const response = await reach(path, {
    method,
    ...(signal === undefined ? {} : { signal }),
    ...(body === undefined ? {} : { body: JSON.stringify(body) }),
    headers: {
      ...(body === undefined ? {} : { "content-type": "application/json" }),
      ...(formToken === null ? {} : { "x-dyetrace-form": formToken }),
    },
  });
  if (!response.ok) throw refusalOf(response.status, await response.text());
  return response;
}

async function reach(path: string, init: RequestInit): Promise<Response> {
  try {
    return await fetch(path, init);
  } catch (error) {
    if (error instanceof DOMException && error.name === "AbortError") throw error;
    throw new Refusal("CONTROLLER_UNREACHABLE", "The controller does not answer", "This page tries again by itself");
  }
}

function refusalOf(status: number, text: string): Refusal {
  try {
    const { code, message, hint } = JSON.parse(text) as Readonly<Record<string, unknown>>;
    if (typeof code === "string" && typeof message === "string")
      return new Refusal(faultCodeOf(code), message, typeof hint === "string" ? hint : "");
  } catch {
    // such as the page of a proxy
  }
  return new Refusal("INTERNAL", `The controller answered ${status}`, text.slice(0, 200));
}

/** What to show of anything that was thrown. */
export const asRefusal = (error: unknown): Refusal =>
  error instanceof Refusal
    ? error
    : new Refusal("INTERNAL", error instanceof Error ? error.message : String(error), "");
