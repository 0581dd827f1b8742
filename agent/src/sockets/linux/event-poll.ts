import { checked, lastErrno, libc, SystemCallError } from "./libc.ts";

const EPOLL_CLOEXEC = 0o2000000; // linux/eventpoll.h
const EPOLL_CTL_ADD = 1;
const EPOLL_CTL_DEL = 2;
const EPOLLIN = 1;
const EINTR = 4; // asm-generic/errno-base.h
/** struct epoll_event is packed on x86-64 and nowhere else (linux/eventpoll.h). */
const EVENT_BYTES = process.arch === "x64" ? 12 : 16;
const DATA_AT = process.arch === "x64" ? 4 : 8;

/** Waits for any of many sockets in time that does not grow with their number. */
export class EventPoll {
  readonly #libc = libc();
  readonly #fd: number;
  readonly #events: ArrayBuffer;
  readonly #view: DataView;
  readonly #capacity: number;

  constructor(capacity: number) {
    this.#capacity = capacity;
    this.#events = new ArrayBuffer(capacity * EVENT_BYTES);
    this.#view = new DataView(this.#events);
    this.#fd = checked("epoll_create1", this.#libc.epoll_create1(EPOLL_CLOEXEC));
  }

  /** @param token comes back from `token` when `fd` has something to read, 0 to 2^32 - 1 */
  add(fd: number, token: number): void {
    const event = new ArrayBuffer(EVENT_BYTES);
    const view = new DataView(event);
    view.setUint32(0, EPOLLIN, true);
    view.setUint32(DATA_AT, token, true);
    checked("epoll_ctl", this.#libc.epoll_ctl(this.#fd, EPOLL_CTL_ADD, fd, event));
  }

  remove(fd: number): void {
    checked("epoll_ctl", this.#libc.epoll_ctl(this.#fd, EPOLL_CTL_DEL, fd, new ArrayBuffer(EVENT_BYTES)));
  }

  /** Hot path. Blocks this thread. @param timeoutMs -1 for ever @returns how many are ready, 0 after the time */
  wait(timeoutMs: number): number {
    const ready = this.#libc.epoll_wait(this.#fd, this.#events, this.#capacity, timeoutMs);
    if (ready >= 0) return ready;
    const errno = lastErrno();
    if (errno === EINTR) return 0;
    throw new SystemCallError("epoll_wait", errno);
  }

  /** Hot path. @returns the token of the i-th that is ready */
  token(i: number): number {
    return this.#view.getUint32(i * EVENT_BYTES + DATA_AT, true);
  }

  close(): void {
    this.#libc.close(this.#fd);
  }
}
