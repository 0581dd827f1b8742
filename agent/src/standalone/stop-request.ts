/**
 * Whoever sits at the terminal, or the service manager, asks for the end: SIGINT or SIGTERM.
 * @returns a signal that fires once, a way to fire it from here, and the way to stop listening for it
 */
export function stopRequest(): {
  readonly signal: AbortSignal;
  readonly end: () => void;
  readonly release: () => void;
} {
  const controller = new AbortController();
  const stop = (): void => controller.abort();
  process.once("SIGINT", stop);
  process.once("SIGTERM", stop);
  return {
    signal: controller.signal,
    end: stop,
    release: () => {
      process.removeListener("SIGINT", stop);
      process.removeListener("SIGTERM", stop);
    },
  };
}
