/** Ctrl-C and a polite kill as an `AbortSignal`, for as long as it is held. A second Ctrl-C ends the process at once. */
export interface Interrupt extends Disposable {
  readonly signal: AbortSignal;
  /** Resolves at the first signal. */
  readonly pressed: Promise<void>;
}

export function untilInterrupted(): Interrupt {
  const controller = new AbortController();
  let press = (): void => {};
  const pressed = new Promise<void>((resolve) => {
    press = resolve;
  });
  const onSignal = (): void => {
    if (controller.signal.aborted) process.exit(130);
    controller.abort();
    press();
  };
  const signals = ["SIGINT", "SIGTERM", "SIGHUP"] as const;
  for (const name of signals) process.on(name, onSignal);
  return {
    signal: controller.signal,
    pressed,
    [Symbol.dispose]: () => {
      for (const name of signals) process.off(name, onSignal);
    },
  };
}
