import type { ConsoleEvent } from "@dyetrace/wire/console/console-event";

/** The controller beats once a second; after this much silence it counts as gone. */
const SILENT_AFTER_MS = 3500;
const RETRY_MS = 1000;

export interface ControllerFollower {
  onEvent(event: ConsoleEvent): void;
  /** The stream broke, or nothing has been heard for too long. Called once per break. */
  onGone(): void;
  /** The controller answers, but not to somebody who has not signed in. */
  onSignedOut(): void;
}

/** Follows the controller's events until `signal`; comes back by itself after every break. */
export async function followController(follower: ControllerFollower, signal: AbortSignal): Promise<void> {
  while (!signal.aborted) {
    const attempt = new AbortController();
    const stop = (): void => attempt.abort();
    signal.addEventListener("abort", stop);
    let silence = setTimeout(stop, SILENT_AFTER_MS);
    try {
      const response = await fetch("/api/console/events", { signal: attempt.signal, cache: "no-store" });
      if (response.status === 401) follower.onSignedOut();
      if (response.ok && response.body !== null) {
        for await (const line of linesOf(response.body)) {
          clearTimeout(silence);
          silence = setTimeout(stop, SILENT_AFTER_MS);
          follower.onEvent(JSON.parse(line) as ConsoleEvent);
        }
      }
    } catch {
      // Refused, cut or silent: told below, tried again after a pause.
    } finally {
      clearTimeout(silence);
      signal.removeEventListener("abort", stop);
    }
    if (signal.aborted) return;
    follower.onGone();
    await new Promise((resolve) => setTimeout(resolve, RETRY_MS));
  }
}

async function* linesOf(body: ReadableStream<Uint8Array>): AsyncGenerator<string> {
  const reader = body.getReader();
  const decoder = new TextDecoder();
  let pending = "";
  try {
    for (;;) {
      const { done, value } = await reader.read();
      if (done) return;
      pending += decoder.decode(value, { stream: true });
      const lines = pending.split("\n");
      pending = lines.pop() ?? "";
      for (const line of lines) if (line !== "") yield line;
    }
  } finally {
    await reader.cancel().catch(() => {});
  }
}
