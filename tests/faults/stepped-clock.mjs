/**
 * Loaded before a program with `node --import`: the wall clock that it sees steps when the file that
 * DYETRACE_STEPS names says so, one step a line: an instant and a number of seconds, both of the real clock. The clock of
 * the machine stays as it is. Whatever a stepped kernel clock would change is changed: what `Date` says, what clock_gettime
 * says of CLOCK_REALTIME, and the arrival times that the kernel writes beside packets from the step on.
 */
import { appendFileSync, readFileSync } from "node:fs";
import { libc } from "../../agent/dist/sockets/linux/libc.js";
import { ReceiveBlock } from "../../agent/dist/sockets/linux/receive-block.js";

const CLOCK_REALTIME = 0; // linux/time.h

/** @returns whole seconds that the clock is off at an instant of the real one */
function offset(realSeconds) {
  const lines = readFileSync(process.env.DYETRACE_STEPS, "utf8").trim().split("\n");
  return lines.reduce((sum, line) => {
    const [at, by] = line.split(" ").map(Number);
    return at <= realSeconds ? sum + by : sum;
  }, 0);
}

const realNow = Date.now;
const stepped = () => realNow() + offset(realNow() / 1000) * 1000;
const RealDate = Date;
globalThis.Date = class extends RealDate {
  constructor(...args) {
    if (args.length === 0) super(stepped());
    else super(...args);
  }
  static now() {
    return stepped();
  }
};

const calls = libc();
const gettime = calls.clock_gettime;
calls.clock_gettime = (clock, time) => {
  const result = gettime(clock, time);
  if (clock === CLOCK_REALTIME) {
    const view = new DataView(time);
    const seconds = view.getUint32(0, true);
    view.setUint32(0, seconds + offset(seconds + view.getUint32(8, true) / 1e9), true);
  }
  return result;
};

let isTold = false;
const read = ReceiveBlock.prototype.read;
ReceiveBlock.prototype.read = function (...args) {
  read.apply(this, args);
  if (this.arrivalSeconds < 0) return;
  const by = offset(this.arrivalSeconds + this.arrivalNanoseconds / 1e9);
  this.arrivalSeconds += by;
  // So that the test can be sure that a step was seen at all.
  if (by !== 0 && !isTold) appendFileSync(`${process.env.DYETRACE_STEPS}.seen`, `${process.pid}\n`);
  isTold ||= by !== 0;
};
