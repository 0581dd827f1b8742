import type Koffi from "koffi";

const AF_UNIX = 1; // linux/socket.h
const SOCK_DGRAM = 2; // linux/net.h, as the next one
const SOCK_CLOEXEC = 0o2000000;
const MSG_DONTWAIT = 0x40; // linux/socket.h, as the next one
const MSG_NOSIGNAL = 0x4000;
/** sun_path of struct sockaddr_un (linux/un.h). */
const MOST_PATH_BYTES = 108;
const FAMILY_BYTES = 2;

type Call = (...args: (number | ArrayBuffer)[]) => number;

/**
 * Sends datagrams to a Unix socket, which Node.js cannot. The structure and the calls are the same on 32-bit hosts, where
 * nothing else here works, and a service manager wants to be told there as well.
 */
export class NotifySocket {
  readonly #fd: number;
  readonly #send: Call;
  readonly #close: Call;

  private constructor(koffi: typeof Koffi, address: ArrayBuffer) {
    const library = koffi.load(null);
    const bind = (prototype: string): Call => library.func(prototype) as unknown as Call;
    this.#send = bind("long send(int fd, void *buffer, size_t length, int flags)");
    this.#close = bind("int close(int fd)");
    const socket = bind("int socket(int domain, int type, int protocol)");
    const connect = bind("int connect(int fd, void *address, uint32_t length)");
    this.#fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_CLOEXEC, 0);
    if (this.#fd < 0) throw new Error(`socket(AF_UNIX): errno ${koffi.errno()}`);
    if (connect(this.#fd, address, address.byteLength) === 0) return;
    const errno = koffi.errno();
    this.#close(this.#fd);
    throw new Error(`connect(AF_UNIX): errno ${errno}`);
  }

  /** @param name a path, or `@` and an abstract name @throws {Error} where nobody listens there, or it can be no such name */
  static async open(name: string): Promise<NotifySocket> {
    const address = unixAddress(name);
    if (address === null) throw new Error(`${name} is no address of a Unix socket`);
    const { default: koffi } = await import("koffi");
    return new NotifySocket(koffi, address);
  }

  /** Never waits. @returns false where the other side did not take it */
  send(text: string): boolean {
    const bytes = new TextEncoder().encode(text);
    const own = new ArrayBuffer(bytes.length); // the kernel is given whole buffers of their own
    new Uint8Array(own).set(bytes);
    return this.#send(this.#fd, own, bytes.length, MSG_DONTWAIT | MSG_NOSIGNAL) === bytes.length;
  }

  close(): void {
    this.#close(this.#fd);
  }
}

/**
 * A `sockaddr_un`, as long as its name (unix(7)): an abstract one begins with a zero in the place of `@`, a path ends with one.
 * @returns null for what is neither a whole path nor an abstract name, or too long
 */
export function unixAddress(name: string): ArrayBuffer | null {
  const isAbstract = name.startsWith("@");
  const bytes = new TextEncoder().encode(isAbstract ? `\0${name.slice(1)}` : `${name}\0`);
  if ((!isAbstract && !name.startsWith("/")) || name.length < 2 || bytes.length > MOST_PATH_BYTES) return null;
  const address = new ArrayBuffer(FAMILY_BYTES + bytes.length);
  new Uint16Array(address, 0, 1)[0] = AF_UNIX;
  new Uint8Array(address, FAMILY_BYTES).set(bytes);
  return address;
}
