import { Fault } from "@dyetrace/wire";
import { expect, test } from "vitest";
import { refusalJson } from "./refusal-json.ts";

const fault = new Fault("DEVICE_UNKNOWN", "No device is called core", "`dyetrace device list` names them");

test.each([
  [["device", "read", "core", "--json"]],
  [["plan", "check", "plan.yaml", "--json", "-"]],
  [["plan", "check", "plan.yaml", "--json=-"]],
  [["device", "list", "--json", "--controller", "http://192.0.2.1:8472"]],
])("given %j, then the refusal is said as JSON too", (argv) => {
  expect(JSON.parse(refusalJson(argv, fault) ?? "")).toEqual({
    error: {
      code: "DEVICE_UNKNOWN",
      message: "No device is called core",
      hint: "`dyetrace device list` names them",
      place: null,
    },
  });
});

test.each([[["device", "read", "core"]], [["plan", "check", "plan.yaml", "--json", "check.json"]]])(
  "given %j, then nothing goes to standard output",
  (argv) => {
    expect(refusalJson(argv, fault)).toBeNull();
  },
);
