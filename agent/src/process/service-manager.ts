import { NotifySocket } from "../sockets/linux/notify-socket.ts";

/** Tells whoever started this program as a service how it is: sd_notify(3), which any service manager may speak. */
export interface ServiceManager {
  /** It is up, or up again after `reloading`. */
  ready(): void;
  /** One line for people. */
  status(text: string): void;
  /** Its host's file is read again. */
  reloading(): void;
  stopping(): void;
  close(): void;
}

const NOBODY: ServiceManager = {
  ready: () => undefined,
  status: () => undefined,
  reloading: () => undefined,
  stopping: () => undefined,
  close: () => undefined,
};

/**
 * @param env NOTIFY_SOCKET, and with a watchdog WATCHDOG_USEC and WATCHDOG_PID (sd_watchdog_enabled(3)); they are taken out, so that
 *   no program that this one starts speaks for it
 * @returns one that does nothing where nobody wants to be told
 */
export async function openServiceManager(
  env: NodeJS.ProcessEnv,
  onTrouble: (error: unknown) => void,
): Promise<ServiceManager> {
  const { NOTIFY_SOCKET: name, WATCHDOG_USEC: withinUs, WATCHDOG_PID: pid } = env;
  for (const key of ["NOTIFY_SOCKET", "WATCHDOG_USEC", "WATCHDOG_PID"]) delete env[key];
  if (name === undefined || process.platform !== "linux") return NOBODY;
  let socket: NotifySocket;
  try {
    socket = await NotifySocket.open(name);
  } catch (error) {
    onTrouble(error);
    return NOBODY;
  }
  const isWatched = pid === undefined || Number(pid) === process.pid;
  const everyMs = isWatched && Number(withinUs) > 0 ? Number(withinUs) / 2000 : null; // half of it, as sd_watchdog_enabled(3) advises
  // By the main thread's own loop: where that hangs, nothing is said, and the service manager starts the program anew.
  const timer = everyMs === null ? undefined : setInterval(() => socket.send("WATCHDOG=1"), everyMs);
  timer?.unref();
  return {
    ready: () => void socket.send("READY=1"),
    status: (text) => void socket.send(`STATUS=${text.replaceAll("\n", " ")}`),
    reloading: () => void socket.send(`RELOADING=1\nMONOTONIC_USEC=${process.hrtime.bigint() / 1000n}`),
    stopping: () => void socket.send("STOPPING=1"),
    close: () => {
      clearInterval(timer);
      socket.close();
    },
  };
}
