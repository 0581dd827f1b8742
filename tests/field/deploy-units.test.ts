import { spawnSync } from "node:child_process";
import { readFileSync } from "node:fs";
import { expect, test } from "vitest";

const FOLDER = new URL("../../deploy/systemd/", import.meta.url).pathname;

/** systemd's own judgement, of the file alone: no unit is loaded and nothing runs. */
function exposureOf(unit: string): number {
  const { stdout, stderr } = spawnSync("systemd-analyze", ["security", "--offline=yes", `${FOLDER}${unit}`], {
    encoding: "utf8",
  });
  process.stderr.write(`${stdout.trimEnd().split("\n").at(-1)}\n`);
  const exposure = /Overall exposure level for \S+: ([0-9.]+)/.exec(stdout)?.[1];
  if (exposure === undefined) throw new Error(`systemd-analyze said: ${stderr}`);
  return Number(exposure);
}

test.each([
  ["dyetrace-agent.service", "dyetrace", "CAP_NET_RAW"],
  ["dyetrace-controller.service", "dyetrace-controller", ""],
])(
  "%s: given systemd-analyze security, then its exposure is 2.0 or lower, and it runs as %s with no right but '%s'",
  (unit, user, right) => {
    expect(exposureOf(unit)).toBeLessThanOrEqual(2);
    const settings = new Map(
      readFileSync(`${FOLDER}${unit}`, "utf8")
        .split("\n")
        .flatMap((line) =>
          /^[A-Z][A-Za-z]+=/.test(line) ? [line.split(/=(.*)/).slice(0, 2) as [string, string]] : [],
        ),
    );
    expect(settings.get("User")).toBe(user);
    expect(settings.get("CapabilityBoundingSet")).toBe(right);
    expect(settings.get("AmbientCapabilities") ?? "").toBe(right);
    expect(settings.get("NoNewPrivileges")).toBe("yes");
  },
);

test("dyetrace-agent.service: given systemd's own check of the file, then it has nothing to say, and the unit waits for the agent's word", () => {
  const text = readFileSync(`${FOLDER}dyetrace-agent.service`, "utf8");
  expect(text).toMatch(/^Type=notify$/m); // systemd.service(5): without it WatchdogSec= and the agent's word count for nothing
  expect(text).toMatch(/^WatchdogSec=60$/m);
  expect(text).toMatch(/^ExecReload=\/bin\/kill -HUP \$MAINPID$/m);
  const { stdout, stderr } = spawnSync("systemd-analyze", ["verify", `${FOLDER}dyetrace-agent.service`], {
    encoding: "utf8",
  });
  // The user and the program are the host's, and not here.
  const said = `${stdout}${stderr}`.split("\n").filter((line) => line.includes("dyetrace-agent.service"));
  expect(said.filter((line) => !/is not executable|Unknown user|User dyetrace/.test(line))).toEqual([]);
});
