import { createSocket } from "node:dgram";

/** The port does not matter: nothing is sent. */
const ANY_PORT = 9;

/**
 * The interface by which this router would send to an address, and so the one at which packets from there are taken: the
 * kernel's own unicast routes decide, as they do in a router that checks the reverse path.
 * @param interfaces by own address, in the form that `formatIpAddress` gives
 * @returns the interface's position; null where no route leads there, or one out of some other interface
 */
export async function reversePath(address: string, interfaces: ReadonlyMap<string, number>): Promise<number | null> {
  const socket = createSocket(address.includes(":") ? "udp6" : "udp4");
  try {
    return await new Promise<number | null>((resolve) => {
      socket.on("error", () => resolve(null));
      socket.connect(ANY_PORT, address, (error?: Error) =>
        resolve(error === undefined ? (interfaces.get(socket.address().address) ?? null) : null),
      );
    });
  } finally {
    socket.close();
  }
}
