import koffi from "koffi";

const AF_UNIX = 1; // linux/socket.h
const SOCK_DGRAM = 2; // linux/net.h, as the next one
const SOCK_NONBLOCK = 0o4000;

/** The service manager's end of sd_notify(3): a Unix datagram socket of the kernel's, which Node.js itself cannot open. */
export class UnixDatagrams implements Disposable {
  readonly #library = koffi.load(null);
  readonly #recv = this.#library.func("long recv(int fd, void *buffer, size_t length, int flags)");
  readonly #fd: number;

  /** @param name a path, or `@` and an abstract name */
  constructor(name: string) {
    const socket = this.#library.func("int socket(int domain, int type, int protocol)");
    const bind = this.#library.func("int bind(int fd, void *address, uint32_t length)");
    this.#fd = socket(AF_UNIX, SOCK_DGRAM | SOCK_NONBLOCK, 0) as number;
    const path = Buffer.from(name.replace(/^@/, "\0"));
    const address = new ArrayBuffer(2 + path.length + (name.startsWith("@") ? 0 : 1)); // struct sockaddr_un (unix(7))
    new DataView(address).setUint16(0, AF_UNIX, true);
    new Uint8Array(address, 2).set(path);
    if (bind(this.#fd, address, address.byteLength) !== 0) throw new Error(`bind: errno ${koffi.errno()}`);
  }

  /** What came since the last call. */
  take(): string[] {
    const buffer = new ArrayBuffer(4096);
    const texts: string[] = [];
    for (;;) {
      const length = Number(this.#recv(this.#fd, buffer, 4096, 0));
      if (length < 0) return texts;
      texts.push(Buffer.from(buffer, 0, length).toString("utf8"));
    }
  }

  [Symbol.dispose](): void {
    this.#library.func("int close(int fd)")(this.#fd);
  }
}
