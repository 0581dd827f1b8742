/**
 * Runs inside a mount namespace of its own: a store on a file system of a few MB that is filled up under it. Prints what
 * happened as JSON. Argument: a folder to mount over.
 */
import { spawnSync } from "node:child_process";
import { rmSync, statfsSync, writeFileSync } from "node:fs";
import path from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { pino } from "pino";
import { ReportIntake } from "../../controller/dist/intake/report-intake.js";
import { openStore } from "../../controller/dist/store/store.js";
import { reportOf, SimulatedListener } from "../bench/soak/simulated-reports.mjs";

const [folder = ""] = process.argv.slice(2);
const mounted = spawnSync("mount", ["-t", "tmpfs", "-o", "size=4M", "tmpfs", folder]);
if (mounted.status !== 0) throw new Error(String(mounted.stderr));
const RUN = "00000000000000aa";
const store = await openStore({ kind: "folder", folder });
const file = { file: "f.yaml", text: "" };
const facts = { site: "s", scenario: "s", request: { site: file, scenario: file }, endNs: 1, startAtMs: null };
await store.runs.add({ runId: RUN, ...facts, programVersion: "0", owner: "o" });
const intake = new ReportIntake(store, pino({ level: "silent" }));
const troubles = [];
intake.on("trouble", (fault) => troubles.push(fault === null ? null : { code: fault.code, message: fault.message }));
const acknowledged = new Set();
const session = { name: "kiosk", send: (message) => acknowledged.add(message.lastNumber) };
const listener = new SimulatedListener(1, 20);
let number = 0;
const report = () => {
  const body = reportOf(number, [listener.second(number, () => false)]);
  number++;
  const numbers = { firstNumber: number, lastNumber: number, droppedReports: 0 };
  intake.take(session, { kind: "report", runId: RUN, stint: "00000000000000cc", ...numbers, ...body, isFinal: false });
};
for (let i = 0; i < 50; i++) report();
await intake.settle();
const acknowledgedBefore = acknowledged.size;
const filler = path.join(folder, "filler");
const room = statfsSync(folder);
writeFileSync(filler, Buffer.alloc(room.bavail * room.bsize));
while (troubles.length === 0) {
  for (let i = 0; i < 50; i++) report();
  await sleep(50);
}
const acknowledgedWhileFull = acknowledged.size;
const keptWhileFull = (await store.reports.stints(RUN))[0]?.keptNumber ?? 0;
rmSync(filler);
const deadline = Date.now() + 20_000;
while (acknowledged.size < number && Date.now() < deadline) await sleep(100);
await intake.close();
let received = 0;
for (const minute of await store.reports.minutes(RUN)) received += minute.received;
const kept = (await store.reports.stints(RUN))[0]?.keptNumber;
await store.close();
const result = {
  troubles,
  acknowledgedBefore,
  acknowledgedWhileFull,
  keptWhileFull,
  sent: number,
  acknowledged: acknowledged.size,
};
process.stdout.write(`${JSON.stringify({ ...result, kept, received, packets: listener.received })}\n`);
