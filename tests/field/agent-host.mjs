/**
 * One agent's data plane in a node of the practice site, for the tests of the data plane. Argument: JSON of `HostOrder`
 * in agent-bed.ts. Speaks in lines of JSON; SIGUSR2 aborts the run.
 */
import { openDataPlane } from "@dyetrace/agent";
import { DEFAULT_GUARDS } from "@dyetrace/wire";

const order = JSON.parse(process.argv[2]);
const say = (message) => process.stdout.write(`${JSON.stringify(message)}\n`);
const faultOf = ({ code, message, hint }) => ({ code, message, hint });
try {
  const plane = await openDataPlane({
    interfaceName: order.interfaceName,
    sockets: order.sockets,
    guards: { ...DEFAULT_GUARDS, maxRateBps: 1e9, maxPacketsPerSecond: 1e6, ...order.guards },
    contact: "field test",
    drawSenderId: () => order.senderId,
  });
  say({ kind: "capabilities", capabilities: plane.capabilities });
  plane.onTrouble((fault) => say({ kind: "trouble", ...faultOf(fault) }));
  plane.onInterval((report) => say({ kind: "interval", report }));
  await plane.prepare(order.task);
  const beat = order.isSilent ? undefined : setInterval(() => plane.heard(), 200);
  process.on("SIGUSR2", () => plane.abort("by the test"));
  const startNs = Number(process.hrtime.bigint()) + 20e6;
  plane.go(startNs);
  say({ kind: "going", startNs });
  if (order.blockMainMs > 0) Atomics.wait(new Int32Array(new SharedArrayBuffer(4)), 0, 0, order.blockMainMs);
  await plane.finish();
  clearInterval(beat);
  await plane.close();
} catch (fault) {
  say({ kind: "refused", ...faultOf(fault) });
}
