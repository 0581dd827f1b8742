// node group-source.mjs GROUP INTERFACE_ADDRESS PACKETS INTERVAL_MS SIZE_BYTES PORT: numbered packets from 0, on an absolute schedule.
import { createSocket } from "node:dgram";

const [group, interfaceAddress, ...numbers] = process.argv.slice(2);
const [packets, intervalMs, sizeBytes, port = 48_620] = numbers.map(Number);
const socket = createSocket(group.includes(":") ? "udp6" : "udp4");
socket.bind(0, () => {
  socket.setMulticastInterface(interfaceAddress);
  const startedAt = performance.now();
  let seq = 0;
  const step = () => {
    while (seq < packets && performance.now() - startedAt >= seq * intervalMs) {
      const packet = Buffer.alloc(sizeBytes);
      packet.writeUInt32BE(seq++);
      const isLast = seq === packets;
      socket.send(packet, port, group, () => isLast && socket.close());
    }
    if (seq < packets) setTimeout(step, 1);
  };
  step();
});
