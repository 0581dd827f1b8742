import { parentPort, workerData } from "node:worker_threads";
import type { DeviceQuestion } from "./device-question.ts";
import { readDevice } from "./read-device.ts";

/** The thread of one reading: see `DeviceReader`. */
const { target, kind, bounds } = workerData as DeviceQuestion;
parentPort?.postMessage(await readDevice(target, kind, bounds));
