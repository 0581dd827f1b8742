// node group-listener.mjs GROUP INTERFACE_ADDRESS: prints `joined`, then each packet's number; leaves on SIGTERM.
import { createSocket } from "node:dgram";

const [group, interfaceAddress] = process.argv.slice(2);
const socket = createSocket({ type: group.includes(":") ? "udp6" : "udp4", reuseAddr: true });
socket.on("message", (packet) => process.stdout.write(`${packet.readUInt32BE()}\n`));
socket.bind(48_620, group, () => {
  socket.addMembership(group, interfaceAddress);
  process.stdout.write("joined\n");
});
process.on("SIGTERM", () => {
  socket.dropMembership(group, interfaceAddress);
  socket.close();
});
