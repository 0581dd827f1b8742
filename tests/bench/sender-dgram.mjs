/** The run-time's own sockets as plainly as they go. Arguments: GROUP PORT ADDRESS PAYLOAD SECONDS. Sends all it can. */
import { createSocket } from "node:dgram";
import { once } from "node:events";

const [group, port, address, payload, seconds] = process.argv.slice(2);
const socket = createSocket("udp4");
socket.bind(0);
await once(socket, "listening");
socket.setMulticastInterface(address);
socket.connect(Number(port), group);
await once(socket, "connect");
const packet = Buffer.allocUnsafeSlow(Number(payload));
const end = process.hrtime.bigint() + BigInt(Math.round(Number(seconds) * 1e9));
const before = process.cpuUsage();
let sent = 0;
const pump = () => {
  if (process.hrtime.bigint() >= end) {
    const used = process.cpuUsage(before);
    process.stdout.write(
      `${JSON.stringify({ sent, seconds: Number(seconds), cpuSeconds: (used.user + used.system) / 1e6 })}\n`,
    );
    socket.close();
    return;
  }
  let open = 64;
  for (let i = 0; i < 64; i++) {
    packet.writeBigUInt64BE(BigInt(sent), 24);
    socket.send(packet, (error) => {
      if (error === null) sent++;
      if (--open === 0) pump();
    });
  }
};
pump();
