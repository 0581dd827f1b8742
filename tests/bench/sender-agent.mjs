/** Our sender, driven as the agent drives it. Arguments: GROUP PORT INTERFACE PAYLOAD SECONDS RATE_BPS. */
import { openDataPlane } from "@dyetrace/agent";
import { DEFAULT_GUARDS } from "@dyetrace/wire";

const [group, port, interfaceName, payload, seconds, rateBps] = process.argv.slice(2);
const guards = { ...DEFAULT_GUARDS, allowSending: true, maxRateBps: 1e12, maxPacketsPerSecond: 1e9 };
const plane = await openDataPlane({
  interfaceName,
  guards,
  contact: "benchmark",
  sockets: "linux",
  drawSenderId: () => 7,
});
const beat = setInterval(() => plane.heard(), 500);
const durationNs = Number(seconds) * 1e9;
const stream = {
  streamId: 1,
  name: "bench",
  group,
  port: Number(port),
  ssmSource: null,
  rateBps: Number(rateBps),
  payloadBytes: Number(payload),
  ttl: 1,
  dscp: 0,
  burstPackets: 1,
};
await plane.prepare({
  runId: "0123456789abcdef",
  streams: [stream],
  actions: [
    { atNs: 0, kind: "emit", streamId: 1 },
    { atNs: durationNs, kind: "stop", streamId: 1 },
  ],
  endNs: durationNs,
  intervalNs: 1e9,
  holdNs: 10e9,
});
plane.go(Number(process.hrtime.bigint()) + 50e6);
const before = process.cpuUsage();
const report = await plane.finish();
const used = process.cpuUsage(before);
clearInterval(beat);
await plane.close();
const sender = report.totals.senders[0];
const { sentPackets, skippedPackets, sendErrors, pacing } = sender;
process.stdout.write(
  `${JSON.stringify({
    sent: sentPackets,
    skipped: skippedPackets,
    errors: sendErrors.enobufs + sendErrors.eagain + sendErrors.other,
    seconds: durationNs / 1e9,
    cpuSeconds: (used.user + used.system) / 1e6,
    pacing,
    stalls: sender.stalls,
  })}\n`,
);
