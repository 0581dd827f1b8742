/**
 * node query-sender.mjs INTERFACE INTERVAL_MS FRAME...: puts these Ethernet frames (hexadecimal) on the wire again and again until
 * it is ended, as a box would that asks for memberships and is no program of ours. Only inside a practice site.
 */
import koffi from "koffi";
import { queryInterface } from "../../agent/dist/sockets/linux/interface-query.js";

const [interfaceName, intervalMs, ...frames] = process.argv.slice(2);
const libc = koffi.load(null);
const socket = libc.func("int socket(int domain, int type, int protocol)");
const bind = libc.func("int bind(int fd, void *address, uint32_t length)");
const write = libc.func("long write(int fd, void *from, size_t length)");
const address = new ArrayBuffer(20); // struct sockaddr_ll (linux/if_packet.h)
new DataView(address).setUint16(0, 17, true);
new DataView(address).setInt32(4, queryInterface(interfaceName).index, true);
const fd = socket(17, 3, 0); // AF_PACKET, SOCK_RAW
if (bind(fd, address, 20) !== 0) throw new Error(`bind: errno ${koffi.errno()}`);

const send = () => {
  for (const frame of frames) {
    const bytes = Uint8Array.from(Buffer.from(frame, "hex"));
    if (write(fd, bytes.buffer, bytes.length) !== bytes.length) throw new Error(`write: errno ${koffi.errno()}`);
  }
};
send();
setInterval(send, Number(intervalMs));
