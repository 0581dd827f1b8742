import { execFileSync } from "node:child_process";
import { fileURLToPath } from "node:url";

// The simulation is TypeScript, for the tests' sake; node 20 reads none, so it is compiled first.
const root = fileURLToPath(new URL("../../..", import.meta.url));
execFileSync("npx", ["--no", "--", "tsc", "-p", "tests/simulation"], { cwd: root, stdio: "inherit" });
const compiled = (name) => import(`../../simulation/dist/tests/simulation/${name}.js`);

export const { SIMULATED_CLASSES } = await compiled("classes/class-list");
export const { judgeCase, SURE } = await compiled("classes/judge-case");
export const { playLeak } = await compiled("leak-scene");
export const { playLoss } = await compiled("loss-scene");
export const { seededRandom } = await compiled("seeded-random");
export const { drawLosses } = await compiled("draw-losses");
export const { sketchSite } = await compiled("sketch-site");
export const { drawStopScene, playStops, truthOf } = await compiled("stop-scene");
export const { simulateRun } = await compiled("simulate-run");
export const { DROP_PLACES, simulateDevices } = await compiled("devices/simulate-devices");
