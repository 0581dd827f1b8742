/** Whether an address, as a socket tells it, is this machine's own. */
export const isLoopbackAddress = (address: string): boolean =>
  address === "::1" || address.startsWith("127.") || address.startsWith("::ffff:127.");

/** Whether a host's name, as a URL has it, can only mean this machine. */
export const isLoopbackName = (name: string): boolean =>
  name === "localhost" || name === "[::1]" || name === "::1" || /^127(\.\d{1,3}){3}$/.test(name);
