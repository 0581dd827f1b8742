/**
 * One host of the watcher's field test: runs inside a network namespace, takes one JSON command per line on its
 * standard input and answers each with one JSON line. Joins and sends as any program would, through node:dgram.
 */
import { createSocket } from "node:dgram";
import { createInterface } from "node:readline";
import { layTestPacket, stampTestPacket } from "@dyetrace/wire";
import koffi from "koffi";
import { KernelClock } from "../../agent/dist/sockets/linux/clock.js";
import { queryInterface } from "../../agent/dist/sockets/linux/interface-query.js";
import { explainHostBlock, readHostBlockBaseline } from "../../agent/dist/watcher/host-block/explain-host-block.js";
import { openWatcher } from "../../agent/dist/watcher/open-watcher.js";

const interfaceName = process.argv[2] ?? "eth0";
const clock = new KernelClock();
const members = new Map();
let received = 0;
let baseline = null;
let watcher = null;

const udpSocket = async (group) => {
  const isIpv6 = group.includes(":");
  const socket = createSocket({ type: isIpv6 ? "udp6" : "udp4", reuseAddr: true });
  await new Promise((resolve) => socket.bind(0, resolve));
  return socket;
};

const commands = {
  async open({ restAfterMs }) {
    watcher = await openWatcher({ interfaceName, ...(restAfterMs === undefined ? {} : { restAfterMs }) });
    return { inability: watcher.inability?.code ?? null, hint: watcher.inability?.hint ?? null };
  },
  async watch({ runId, streams }) {
    await watcher.watch({ runId, startMonotonicNs: clock.now(), streams });
    return {};
  },
  async snapshot() {
    return { report: await watcher.snapshot() };
  },
  async state() {
    return { inability: watcher.inability?.code ?? null, isResting: watcher.isResting };
  },
  async close() {
    await watcher.close();
    return {};
  },
  async join({ group, source, address }) {
    const socket = await udpSocket(group);
    const own = group.includes(":") ? `::%${interfaceName}` : address;
    if (source === undefined) socket.addMembership(group, own);
    else socket.addSourceSpecificMembership(source, group, own);
    members.set(group, socket);
    return {};
  },
  /** Joins on a socket that is bound to the port and counts what it gets. */
  async listen({ group, port, address }) {
    const socket = createSocket({ type: "udp4", reuseAddr: true });
    socket.on("message", () => received++);
    await new Promise((resolve) => socket.bind(port, resolve));
    socket.addMembership(group, address);
    members.set(group, socket);
    return {};
  },
  /** What the socket got since the last call; the next explanation looks at what is dropped from now on. */
  async received() {
    const packets = received;
    received = 0;
    baseline = await readHostBlockBaseline();
    return { packets };
  },
  async explain({ packet }) {
    return { sentence: await explainHostBlock({ interfaceName, ...packet }, baseline) };
  },
  async leave({ group }) {
    await new Promise((resolve) => members.get(group).close(resolve));
    members.delete(group);
    return {};
  },
  /** Sends the numbers from `first` to `last`, `perTick` every 5 ms. */
  async send({ group, port, address, runId, streamId, first, last, payloadBytes = 128, perTick = 1 }) {
    const socket = await udpSocket(group);
    socket.setMulticastInterface(group.includes(":") ? `::%${interfaceName}` : address);
    socket.setMulticastTTL(1);
    const bytes = new Uint8Array(payloadBytes);
    const view = new DataView(bytes.buffer);
    const identity = {
      runId,
      streamId,
      senderId: 7,
      intervalNs: 5e6,
      ttl: 1,
      dscp: 0,
      isCompanion: false,
      contact: "",
    };
    for (let seq = first; seq <= last; ) {
      const sent = [];
      for (let i = 0; i < perTick && seq <= last; i++, seq++) {
        layTestPacket(view, 0, payloadBytes, identity);
        stampTestPacket(view, bytes, 0, seq, 0, 0);
        const packet = Buffer.from(bytes);
        sent.push(
          new Promise((resolve, reject) => {
            socket.send(packet, port, group, (error) => (error ? reject(error) : resolve()));
          }),
        );
      }
      await Promise.all(sent);
      await new Promise((resolve) => setTimeout(resolve, 5));
    }
    socket.close();
    return {};
  },
  /** Any datagram that is none of ours. */
  async sendForeign({ group, port, address, count }) {
    const socket = await udpSocket(group);
    socket.setMulticastInterface(address);
    for (let i = 0; i < count; i++) await new Promise((resolve) => socket.send("foreign", port, group, resolve));
    socket.close();
    return {};
  },
  /** Puts whole Ethernet frames on the wire, given as hexadecimal text. */
  async sendFrames({ frames }) {
    const libc = koffi.load(null);
    const socket = libc.func("int socket(int domain, int type, int protocol)");
    const bind = libc.func("int bind(int fd, void *address, uint32_t length)");
    const write = libc.func("long write(int fd, void *from, size_t length)");
    const close = libc.func("int close(int fd)");
    const address = new ArrayBuffer(20); // struct sockaddr_ll (linux/if_packet.h)
    new DataView(address).setUint16(0, 17, true);
    new DataView(address).setInt32(4, queryInterface(interfaceName).index, true);
    const fd = socket(17, 3, 0); // AF_PACKET, SOCK_RAW
    if (bind(fd, address, 20) !== 0) throw new Error(`bind: errno ${koffi.errno()}`);
    for (const frame of frames) {
      const bytes = Uint8Array.from(Buffer.from(frame, "hex"));
      if (write(fd, bytes.buffer, bytes.length) !== bytes.length) throw new Error(`write: errno ${koffi.errno()}`);
    }
    close(fd);
    return {};
  },
};

const answer = (message) => process.stdout.write(`${JSON.stringify(message)}\n`);
for await (const line of createInterface({ input: process.stdin })) {
  const { kind, ...rest } = JSON.parse(line);
  try {
    answer(await commands[kind](rest));
  } catch (cause) {
    answer({ error: String(cause) });
  }
}
await watcher?.close();
process.exit(0);
