/** The run-time's own sockets, counting only. Arguments: GROUP PORT ADDRESS SECONDS. Prints "ready", then JSON. */
import { createSocket } from "node:dgram";
import { once } from "node:events";

const [group, port, address, seconds] = process.argv.slice(2);
const socket = createSocket({ type: "udp4", reuseAddr: true, recvBufferSize: 4 << 20 });
socket.bind(Number(port), group);
await once(socket, "listening");
socket.addMembership(group, address);
process.stdout.write("ready\n");
const before = process.cpuUsage();
let received = 0;
let missing = 0;
let next = -1;
let last = 0;
socket.on("message", (message) => {
  const seq = message.readUInt32BE(24) * 2 ** 32 + message.readUInt32BE(28);
  if (next >= 0 && seq > next) missing += seq - next;
  next = seq + 1;
  received++;
});
const started = performance.now();
let seen = 0;
const timer = setInterval(() => {
  if (received !== seen) last = performance.now();
  seen = received;
  const isOver = performance.now() - started > Number(seconds) * 1000;
  if (!isOver && !(received > 0 && performance.now() - last > 500)) return;
  clearInterval(timer);
  const used = process.cpuUsage(before);
  process.stdout.write(`${JSON.stringify({ received, missing, cpuSeconds: (used.user + used.system) / 1e6 })}\n`);
  socket.close();
}, 100);
