/**
 * A second media generator beside the tests' ffmpeg: gstreamer, in a node without agent of a practice site, for groups of both families
 * and joined with their source. By hand, since its packages are many; root, and after `npm run build`:
 *
 *   sudo apt-get install --no-install-recommends gstreamer1.0-tools gstreamer1.0-plugins-{base,good,bad}
 *   node tests/bench/follow/gstreamer.bench.mjs
 */
import { execFile, spawn } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";
import { setTimeout as sleep } from "node:timers/promises";
import { fileURLToPath } from "node:url";
import { promisify } from "node:util";

const PROGRAM = fileURLToPath(new URL("../../../controller/bin/dyetrace.mjs", import.meta.url));
const PORT = 5004;
/** Longer than a run of 5 s with what is around it, which ends before it. */
const PLAYS_S = 15;
const LISTEN = "127.0.0.1:8519";
const CONTROLLER = `http://${LISTEN}`;
const folder = mkdtempSync(join(tmpdir(), "dyetrace-gst-"));
const at = (name) => join(folder, name);
const plan = (addresses) => `
site: Quillfen media
nodes:
  core: { kind: switch, querier: true }
  left: { kind: switch }
  encoder: { kind: host, agent: none${addresses === null ? "" : `, addresses: [${addresses.map((one) => `"${one}"`).join(", ")}]`} }
  wall-1: { kind: host }
  wall-2: { kind: host }
  lobby: { kind: host }
links:
  - core:1 -- left:24
  - core:2 -- encoder:eth0
  - core:3 -- lobby:eth0
  - left:1 -- wall-1:eth0
  - left:2 -- wall-2:eth0
`;

const SOUND = "audiotestsrc is-live=true wave=pink-noise ! opusenc";
const STREAM = `${SOUND} ! mpegtsmux alignment=7`;
const sink = (group) => `udpsink host=${group} port=${PORT} ttl=4 ttl-mc=4 auto-multicast=false multicast-iface=eth0`;
const PICTURE =
  "videotestsrc is-live=true ! video/x-raw,format=I420,width=320,height=240,framerate=25/1 ! jpegenc ! rtpjpegpay mtu=1400";
const MEDIA = {
  "RTP with two SSRCs": (group) =>
    `${PICTURE} ssrc=1111 ! ${sink(group)} ${SOUND} ! rtpopuspay ssrc=2222 ! ${sink(group)}`,
  "MPEG-TS over UDP": (group) => `${STREAM} ! ${sink(group)}`,
  "MPEG-TS in RTP": (group) => `${STREAM} ! rtpmp2tpay ! ${sink(group)}`,
};

const dyetrace = (...args) =>
  promisify(execFile)(process.execPath, [PROGRAM, ...args], { maxBuffer: 1 << 26 }).catch((cause) => cause);

writeFileSync(at("plan.yaml"), plan(null));
const site = spawn(process.execPath, [PROGRAM, "practice", "up", at("plan.yaml"), "--listen", LISTEN], {
  stdio: ["ignore", "pipe", "inherit"],
});
try {
  await new Promise((resolve, reject) => {
    site.stdout.on("data", (text) => String(text).split("\n").includes("ready") && resolve());
    site.once("exit", (code) => reject(new Error(`the practice site ended with ${code}`)));
  });
  const inside = (...argv) => ["practice", "exec", "--site", "Quillfen media", "encoder", "--", ...argv];
  const { stdout, stderr: said } = await dyetrace(...inside("ip", "-j", "address", "show", "eth0"));
  if (stdout === "") throw new Error(said);
  const addresses = JSON.parse(stdout)[0]
    .addr_info.filter(({ scope }) => scope === "global")
    .map(({ local }) => local);
  writeFileSync(at("known.yaml"), plan(addresses));
  for (const route of [["route", "add", "224.0.0.0/4", "dev", "eth0"]]) await dyetrace(...inside("ip", ...route));
  let next = 1;
  for (const [kind, pipeline] of Object.entries(MEDIA)) {
    for (const group of [`239.196.7.${next}`, `ff15::8000:${next}`, `232.196.7.${next}`]) {
      next += 1;
      const generator = ["timeout", String(PLAYS_S), "gst-launch-1.0", "-q", ...pipeline(group).split(" ")];
      const media = spawn(process.execPath, [PROGRAM, ...inside(...generator)], {
        stdio: ["ignore", "ignore", "inherit"],
      });
      const ended = new Promise((resolve) => media.once("exit", resolve));
      await sleep(2000);
      writeFileSync(
        at("follow.yaml"),
        `scenario: follow\nstreams:\n  - { name: tv, production: true, from: encoder, group: "${group}", port: ${PORT} }\ntimeline:\n  - { at: 0s, join: tv, agents: all }\n  - { at: 5s, leave: tv, agents: all }\n`,
      );
      const args = [
        "run",
        at("follow.yaml"),
        "--site",
        at("known.yaml"),
        "--controller",
        CONTROLLER,
        "--json",
        at("report.json"),
      ];
      const { code = 0, stderr } = await dyetrace(...args);
      await ended;
      if (code > 1) {
        console.log(`${kind} to ${group}: could not run: ${stderr}`);
        continue;
      }
      const {
        verdict,
        streams,
        receipts,
        findings,
        media: told = [],
      } = JSON.parse(readFileSync(at("report.json"), "utf8"));
      const forms = streams.map(
        ({ format, identifiedBy, ssrc }) => `${format} by ${identifiedBy}${ssrc === null ? "" : ` ${ssrc}`}`,
      );
      const figures = receipts.map(({ listener, received, lost }) => `${listener} ${received}/${lost}`).join(", ");
      const ts = told
        .map(({ transportStream: one }) => (one === null ? "" : `${one.continuityErrors}/${one.pcrs}`))
        .join(" ");
      console.log(
        `${kind} to ${group}: ${verdict}, ${findings.length} findings; ${forms.join("; ")}; received/lost ${figures}${ts.trim() === "" ? "" : `; continuity errors/PCRs ${ts}`}`,
      );
    }
  }
} finally {
  site.kill("SIGINT");
  await new Promise((resolve) => (site.exitCode === null ? site.once("exit", resolve) : resolve()));
  rmSync(folder, { recursive: true });
}
