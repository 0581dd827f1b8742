import type { ConsoleSession } from "@dyetrace/wire/console/console-session";
import { computed, type ReadonlySignal, signal } from "@preact/signals";
import { askController, takeFormToken } from "../link/ask-controller.ts";
import { pageLife } from "../link/page-life.ts";

/** Who has signed in; null before the controller has said. */
export const session = signal<ConsoleSession | null>(null);

/** True where nothing is shown until somebody signs in. */
export const isSignInNeeded: ReadonlySignal<boolean> = computed(
  () => session.value !== null && !session.value.isOpen && session.value.operator === null,
);

/** Whoever looks at this page may change something. */
export const mayOperate: ReadonlySignal<boolean> = computed(
  () => session.value !== null && (session.value.isOpen || session.value.operator?.role === "operate"),
);

/** Asks the controller; one that does not answer leaves it as it was. */
export async function loadSession(): Promise<void> {
  try {
    take(await askController<ConsoleSession>("/api/session"));
  } catch {
    // The page says itself that the controller is away, and this is asked again with the next connection.
  }
}

/** @throws {Refusal} for a name and password that do not go together */
export async function signIn(name: string, password: string): Promise<void> {
  await askController("/api/sign-in", { method: "POST", body: { name, password } });
  await loadSession();
}

export async function signOut(): Promise<void> {
  // First: the controller cuts the events of whoever has signed out, and this page would take that for its absence.
  pageLife.abort();
  try {
    await askController("/api/sign-out", { method: "POST", body: {} });
  } finally {
    // Nothing of what was shown stays in the page.
    location.reload();
  }
}

function take(next: ConsoleSession): void {
  takeFormToken(next.formToken);
  session.value = next;
}
