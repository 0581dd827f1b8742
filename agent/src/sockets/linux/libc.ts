import { endianness } from "node:os";
import type Koffi from "koffi";

/**
 * The C library, reached without a compiler on the host. The structures that the other files here lay out by hand are
 * those of 64-bit little-endian kernels with the generic socket constants (asm-generic/socket.h). A 32-bit host has
 * other offsets (msghdr of 28 bytes, timespec of 8 or 16) and a few architectures other constants, so those take the
 * portable sockets.
 */
const ARCHITECTURES: ReadonlySet<string> = new Set(["x64", "arm64", "riscv64", "loong64"]);

export const isLinuxSupported = (): boolean =>
  process.platform === "linux" && ARCHITECTURES.has(process.arch) && endianness() === "LE";

/** Null where it is not used: the package for hosts has its binaries for Linux alone, and it does not load without one. */
const koffi: typeof Koffi | null = isLinuxSupported() ? (await import("koffi")).default : null;

function loadedKoffi(): typeof Koffi {
  if (koffi === null) throw new Error(`No Linux sockets on ${process.platform} ${process.arch}`);
  return koffi;
}

type Call = (...args: (number | bigint | string | ArrayBuffer | null)[]) => number;

export interface LibC {
  readonly socket: Call;
  readonly bind: Call;
  readonly connect: Call;
  readonly send: Call;
  readonly recv: Call;
  readonly close: Call;
  readonly setsockopt: Call;
  readonly getsockopt: Call;
  readonly getsockname: Call;
  readonly sendmmsg: Call;
  readonly recvmmsg: Call;
  readonly epoll_create1: Call;
  readonly epoll_ctl: Call;
  readonly epoll_wait: Call;
  readonly clock_gettime: Call;
  readonly clock_nanosleep: Call;
  readonly adjtimex: Call;
  readonly prctl: Call;
  readonly ioctl: Call;
  readonly sched_setscheduler: Call;
}

let loaded: LibC | undefined;

/** @throws {Error} where this is no Linux we know or libc cannot be loaded; ask `isLinuxSupported` first */
export function libc(): LibC {
  if (loaded !== undefined) return loaded;
  const library = loadedKoffi().load(null); // node itself is linked with libc, whichever one the host has
  const bind = (prototype: string): Call => library.func(prototype) as unknown as Call;
  loaded = {
    socket: bind("int socket(int domain, int type, int protocol)"),
    bind: bind("int bind(int fd, void *address, uint32_t length)"),
    connect: bind("int connect(int fd, void *address, uint32_t length)"),
    send: bind("long send(int fd, void *buffer, size_t length, int flags)"),
    recv: bind("long recv(int fd, void *buffer, size_t length, int flags)"),
    close: bind("int close(int fd)"),
    setsockopt: bind("int setsockopt(int fd, int level, int name, void *value, uint32_t length)"),
    getsockopt: bind("int getsockopt(int fd, int level, int name, void *value, void *length)"),
    getsockname: bind("int getsockname(int fd, void *address, void *length)"),
    sendmmsg: bind("int sendmmsg(int fd, void *messages, uint32_t count, int flags)"),
    recvmmsg: bind("int recvmmsg(int fd, void *messages, uint32_t count, int flags, void *timeout)"),
    epoll_create1: bind("int epoll_create1(int flags)"),
    epoll_ctl: bind("int epoll_ctl(int epfd, int op, int fd, void *event)"),
    epoll_wait: bind("int epoll_wait(int epfd, void *events, int count, int timeoutMs)"),
    clock_gettime: bind("int clock_gettime(int clock, void *time)"),
    clock_nanosleep: bind("int clock_nanosleep(int clock, int flags, void *time, void *remain)"),
    adjtimex: bind("int adjtimex(void *timex)"),
    prctl: bind("int prctl(int option, ulong value)"),
    sched_setscheduler: bind("int sched_setscheduler(int pid, int policy, void *parameter)"),
    ioctl: bind("int ioctl(int fd, ulong request, void *argument)"),
  };
  return loaded;
}

/** Must be read right after the failed call, before anything else runs on this thread. */
export const lastErrno = (): number => loadedKoffi().errno();

const NAMES: ReadonlyMap<number, string> = new Map(
  Object.entries(koffi?.os.errno ?? {}).map(([name, value]) => [value, name]),
);

/** Gives back to the kernel what the C library keeps for later (malloc_trim(3)); other C libraries keep less, and have no such call. */
export function trimHeap(): void {
  try {
    koffi?.load(null).func("int malloc_trim(size_t pad)")(0);
  } catch {
    // not glibc
  }
}

const MADV_DONTNEED = 4; // asm-generic/mman-common.h

/** Says that pages which a file has as they are need not be in memory (madvise(2)). Where that is refused, they stay. */
export function adviseUnneeded(start: number, sizeBytes: number): void {
  if (koffi === null) return;
  madvise ??= koffi.load(null).func("int madvise(uintptr_t start, size_t length, int advice)") as unknown as Call;
  madvise(start, sizeBytes, MADV_DONTNEED);
}
let madvise: Call | undefined;

/** `ENOBUFS` for 105 on this host. */
export const errnoName = (errno: number): string => NAMES.get(errno) ?? `errno ${errno}`;

/** A refused system call, before anyone has said what it means. */
export class SystemCallError extends Error {
  override readonly name = "SystemCallError";
  readonly code: string;

  constructor(call: string, errno: number) {
    super(`${call} answered ${errnoName(errno)}`);
    this.code = errnoName(errno);
  }
}

/** @returns `result` unless it is negative @throws {SystemCallError} */
export function checked(call: string, result: number): number {
  if (result < 0) throw new SystemCallError(call, lastErrno());
  return result;
}

/**
 * Where a buffer lies, for pointers inside structures. Holds for the buffer's life: the memory of an ArrayBuffer of its
 * own is not moved. Whoever keeps the address keeps the buffer.
 */
export const addressOf = (buffer: ArrayBuffer): bigint => loadedKoffi().address(buffer);
