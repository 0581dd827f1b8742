/**
 * Thousands of TCP connections that say nothing, or a byte a second of a request's head, from ten addresses of this
 * machine. Prints what became of them as JSON. Arguments: port, count, `silent` or `slow`.
 */
import { connect } from "node:net";

const [port, count, kind] = process.argv.slice(2);
const HEAD = "GET /api/status HTTP/1.1\r\nHost: 127.0.0.1\r\nX-Slow: ";
const AT_ONCE_MS = 1000;
const DEADLINE_MS = 25_000;
const began = performance.now();
const told = { asked: Number(count), opened: 0, refused: 0, cutAtOnce: 0, cutLater: 0, peak: 0, longestMs: 0 };
let open = 0;
let left = told.asked;

const done = () => {
  if (--left > 0) return;
  process.stdout.write(`${JSON.stringify({ ...told, tookMs: Math.round(performance.now() - began) })}\n`);
  process.exit(0);
};
for (let i = 0; i < told.asked; i++) {
  const socket = connect({ port: Number(port), host: "127.0.0.1", localAddress: `127.0.0.${2 + (i % 10)}` });
  let openedMs = null;
  let trickle;
  let at = 0;
  socket.on("connect", () => {
    openedMs = performance.now();
    told.opened++;
    told.peak = Math.max(told.peak, ++open);
    if (kind === "slow") trickle = setInterval(() => socket.write(HEAD[at++] ?? "x"), 1000);
  });
  socket.on("error", () => undefined);
  socket.on("data", () => undefined); // a polite server says 408 first
  socket.on("close", () => {
    clearInterval(trickle);
    if (openedMs === null) told.refused++;
    else {
      open--;
      const lastedMs = performance.now() - openedMs;
      told.longestMs = Math.max(told.longestMs, Math.round(lastedMs));
      if (lastedMs < AT_ONCE_MS) told.cutAtOnce++;
      else told.cutLater++;
    }
    done();
  });
}
// Where the kernel's queue was full, the client thinks that it is connected and the server never heard of it.
setTimeout(() => {
  process.stdout.write(`${JSON.stringify({ ...told, neverAccepted: open })}\n`);
  process.exit(0);
}, DEADLINE_MS);
