import { createServer } from "node:net";

export const DEFAULT_PORT = 8472;
const HOST = "127.0.0.1";

/** The default address if it is free, else any free port: two practice sites may stand at once. */
export async function defaultOrFreePort(): Promise<{
  readonly host: string;
  readonly port: number;
}> {
  const isFree = await new Promise<boolean>((resolve) => {
    const probe = createServer();
    probe.once("error", () => resolve(false));
    probe.listen(DEFAULT_PORT, HOST, () => probe.close(() => resolve(true)));
  });
  return { host: HOST, port: isFree ? DEFAULT_PORT : 0 };
}
