/** Our listener with everything that it measures. Arguments: GROUP PORT INTERFACE SECONDS. Prints "ready", then JSON. */
import { openDataPlane } from "@dyetrace/agent";
import { DEFAULT_GUARDS } from "@dyetrace/wire";

const [group, port, interfaceName, seconds] = process.argv.slice(2);
const plane = await openDataPlane({
  interfaceName,
  guards: DEFAULT_GUARDS,
  contact: "benchmark",
  sockets: "linux",
  drawSenderId: () => 0,
});
const stream = {
  streamId: 1,
  name: "bench",
  group,
  port: Number(port),
  ssmSource: null,
  rateBps: 1e6,
  payloadBytes: 1316,
  ttl: 1,
  dscp: 0,
  burstPackets: 1,
};
const endNs = Number(seconds) * 1e9;
await plane.prepare({
  runId: "0123456789abcdef",
  streams: [stream],
  actions: [{ atNs: 0, kind: "join", streamId: 1 }],
  endNs,
  intervalNs: 1e9,
  holdNs: 10e9,
});
let received = 0;
let quiet = 0;
plane.onInterval((report) => {
  if (report.fromNs === 0) process.stdout.write("ready\n"); // the join of this interval is in its report
  if (report.totals !== null) return;
  const now = report.listeners[0]?.receipt?.received ?? 0;
  received += now;
  quiet = received > 0 && now === 0 ? quiet + 1 : 0;
  if (quiet > 0) plane.abort("the stream has ended");
});
plane.go(Number(process.hrtime.bigint()));
const before = process.cpuUsage();
const report = await plane.finish();
const used = process.cpuUsage(before);
await plane.close();
const listener = report.totals.listeners[0];
process.stdout.write(
  `${JSON.stringify({
    received: listener.receipt.received,
    missing: listener.receipt.lost,
    hostLost: listener.hostLostPackets,
    cpuSeconds: (used.user + used.system) / 1e6,
  })}\n`,
);
