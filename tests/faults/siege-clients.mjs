/**
 * Thousands of hostile connections of seven kinds at once, from ten addresses of this machine. Prints what became of them as
 * JSON some seconds after all of them were connected. Arguments: port, seconds, and how many of which kind as JSON.
 */
import { connect } from "node:net";

const [port, seconds, counts] = process.argv.slice(2);
const MEGABYTE = Buffer.alloc(1024 * 1024, "x");
const head = (line, ...more) => `${[line, "Host: 127.0.0.1", ...more].join("\r\n")}\r\n`;
const UPGRADE = head(
  "GET /agent-link HTTP/1.1",
  "Connection: Upgrade",
  "Upgrade: websocket",
  "Sec-WebSocket-Version: 13",
  "Sec-WebSocket-Key: AAAAAAAAAAAAAAAAAAAAAA==",
);
/** A frame of 4 MB (RFC 6455 section 5.2), of which as much as possible comes. */
const FRAME = Buffer.from([0x81, 0xff, 0, 0, 0, 0, 0, 0x40, 0, 0, 1, 2, 3, 4]);
const BODY = head("POST /api/console/plan-check HTTP/1.1", "Content-Type: application/json", "Content-Length: 2000000");

/** What each kind does once it is connected. */
const KINDS = {
  silent: () => undefined,
  /** A request's head, a byte a second. */
  slow: (socket) => {
    const text = head("GET /api/status HTTP/1.1", `X-Slow: ${"x".repeat(100)}`);
    let at = 0;
    return setInterval(() => socket.write(text[at++] ?? "x"), 1000);
  },
  /** A request that anybody may make, again and again. */
  keepAlive: (socket) => {
    const ask = () => socket.write(`${head("GET /api/status HTTP/1.1")}\r\n`);
    ask();
    return setInterval(ask, 2000);
  },
  /** Megabytes before any hello. */
  strangers: (socket) => {
    socket.write(`${UPGRADE}\r\n`);
    socket.once("data", () => {
      socket.write(FRAME);
      for (let i = 0; i < 3; i++) socket.write(MEGABYTE);
    });
  },
  /** A console that never reads. */
  consoles: (socket) => {
    socket.removeAllListeners("data");
    socket.pause();
    socket.write(`${head("GET /api/console/events HTTP/1.1")}\r\n`);
  },
  /** All but the end of a large plan. */
  bodies: (socket) => {
    socket.write(`${BODY}\r\n{"file":"x","text":"`);
    socket.write(MEGABYTE);
  },
  /** A run's progress that nobody reads. */
  followers: (socket) => {
    socket.removeAllListeners("data");
    socket.pause();
    socket.write(`${head("GET /api/runs/0/progress HTTP/1.1")}\r\n`);
  },
};

/** A few at a time, as a kernel takes them: of a rush it drops some, which come seconds later. */
const AT_ONCE = 50;
const DEADLINE_MS = 40_000;

const end = () => {
  process.stdout.write(`${JSON.stringify(told)}\n`);
  process.exit(0);
};
setTimeout(end, DEADLINE_MS);

const told = {};
const waiting = [];
let opened = 0;
let addresses = 0;
for (const [kind, count] of Object.entries(JSON.parse(counts))) {
  told[kind] = { asked: count, opened: 0, cut: 0 };
  for (let i = 0; i < count; i++) waiting.push(kind);
}
const all = waiting.length;

function open(kind) {
  const mine = told[kind];
  const socket = connect({ port: Number(port), host: "127.0.0.1", localAddress: `127.0.0.${2 + (addresses++ % 10)}` });
  let timer;
  socket.on("data", () => undefined); // a polite server says 408 first
  socket.on("connect", () => {
    mine.opened++;
    timer = KINDS[kind](socket);
    if (++opened === all) setTimeout(end, Number(seconds) * 1000);
    next();
  });
  socket.on("error", () => undefined);
  socket.on("close", () => {
    clearInterval(timer);
    mine.cut++;
  });
}

function next() {
  const kind = waiting.shift();
  if (kind !== undefined) open(kind);
}
for (let i = 0; i < AT_ONCE; i++) next();
