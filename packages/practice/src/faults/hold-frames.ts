import koffi from "koffi";

/**
 * `node hold-frames.js FROM TO DELAY_MS MARK`: reads every frame that arrives at the interface FROM, and sends it from TO
 * after DELAY_MS with the mark MARK, by which the fault's own rules let it pass. Prints `ready` when it listens.
 */
const AF_PACKET = 17; // linux/socket.h
const SOCK_RAW = 3; // linux/net.h
const ETH_P_ALL = 0x0003; // linux/if_ether.h
const SOL_SOCKET = 1; // asm-generic/socket.h
const SO_MARK = 36; // asm-generic/socket.h
const SOL_PACKET = 263; // linux/socket.h
const PACKET_VNET_HDR = 15; // linux/if_packet.h
const LARGEST_FRAME_BYTES = 65_550;

const libc = koffi.load("libc.so.6");
const socket = libc.func("int socket(int domain, int type, int protocol)");
const bind = libc.func("int bind(int fd, const uint8_t *address, uint32_t length)");
const setsockopt = libc.func("int setsockopt(int fd, int level, int name, const uint8_t *value, uint32_t length)");
const recv = libc.func("long recv(int fd, _Out_ uint8_t *buffer, size_t length, int flags)");
const send = libc.func("long send(int fd, const uint8_t *buffer, size_t length, int flags)");
const ifNameToIndex = libc.func("uint32_t if_nametoindex(const char *name)");

/**
 * Each frame is read and written behind a `virtio_net_hdr`, which carries what a checksum still lacks: the packets of this
 * machine's own hosts travel with unfinished ones.
 */
function packetSocket(interfaceName: string, protocol: number): number {
  const index = Number(ifNameToIndex(interfaceName));
  const fd = Number(socket(AF_PACKET, SOCK_RAW, 0)); // protocol 0: nothing is received before `bind`
  if (index === 0 || fd < 0) throw new Error(`cannot open ${interfaceName}: errno ${koffi.errno()}`);
  setOption(fd, SOL_PACKET, PACKET_VNET_HDR, 1);
  // struct sockaddr_ll (linux/if_packet.h): family, protocol in network order, interface index; the rest is not needed.
  const address = new DataView(new ArrayBuffer(20));
  address.setUint16(0, AF_PACKET, true);
  address.setUint16(2, protocol);
  address.setInt32(4, index, true);
  if (Number(bind(fd, new Uint8Array(address.buffer), 20)) === 0) return fd;
  throw new Error(`cannot bind to ${interfaceName}: errno ${koffi.errno()}`);
}

function setOption(fd: number, level: number, name: number, value: number): void {
  const bytes = new DataView(new ArrayBuffer(4));
  bytes.setUint32(0, value, true);
  if (Number(setsockopt(fd, level, name, new Uint8Array(bytes.buffer), 4)) === 0) return;
  throw new Error(`cannot set option ${name}: errno ${koffi.errno()}`);
}

const [from = "", to = "", delayMs = "", mark = ""] = process.argv.slice(2);
const input = packetSocket(from, ETH_P_ALL);
const output = packetSocket(to, 0);
setOption(output, SOL_SOCKET, SO_MARK, Number(mark));
process.stdout.write("ready\n");
listen();

function listen(): void {
  const buffer = new Uint8Array(LARGEST_FRAME_BYTES);
  recv.async(input, buffer, buffer.length, 0, (error: unknown, length: number) => {
    if (error !== null || length < 0) throw new Error(`cannot receive: errno ${koffi.errno()}`);
    const frame = buffer.slice(0, Number(length));
    setTimeout(() => send(output, frame, frame.length, 0), Number(delayMs));
    listen();
  });
}
