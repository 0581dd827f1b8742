// node group-listener.mjs GROUP INTERFACE_ADDRESS: prints `joined`, then each packet's number; leaves on SIGTERM. On SIGUSR2 it
// prints `read` when it has read what had arrived by then: however busy the machine is, nobody looks too early.
import { createSocket } from "node:dgram";

const [group, interfaceAddress] = process.argv.slice(2);
const socket = createSocket({ type: group.includes(":") ? "udp6" : "udp4", reuseAddr: true });
socket.on("message", (packet) => process.stdout.write(`${packet.readUInt32BE()}\n`));
socket.bind(48_620, group, () => {
  socket.addMembership(group, interfaceAddress);
  process.stdout.write("joined\n");
});
const TURNS = 5; // of the event loop, in each of which up to 32 packets are read
process.on("SIGUSR2", () => {
  const turn = (left) => (left === 0 ? process.stdout.write("read\n") : setTimeout(turn, 5, left - 1));
  turn(TURNS);
});
process.on("SIGTERM", () => {
  socket.dropMembership(group, interfaceAddress);
  socket.close();
});
