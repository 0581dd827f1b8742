import { readFileSync } from "node:fs";

const demo = (name) => readFileSync(new URL(`../../../packages/practice/demo/${name}`, import.meta.url), "utf8");

/** The plan in a field test's own file: the template text of its one constant that is called so. */
function planIn(file, constant) {
  const text = readFileSync(new URL(`../../field/${file}`, import.meta.url), "utf8");
  const plan = new RegExp(`const ${constant} = \`\n?([^\`]*)\``).exec(text)?.[1];
  if (plan === undefined) throw new Error(`No ${constant} in ${file}`);
  return plan;
}

/**
 * `some`: members that leave others to watch. `all`: everyone but the source. `shared`: two listeners behind one port, and
 * two behind different ports of one switch where the site has no such pair.
 */
export const HEALTHY_SITES = [
  {
    name: "quillfen",
    plan: demo("quillfen.yaml"),
    source: "tower",
    some: ["kiosk-1", "till-1"],
    all: ["office", "kiosk-1", "kiosk-2", "board-1", "board-2", "lounge", "till-1", "till-2", "tablet"],
    shared: [
      ["till-1", "till-2"],
      ["board-1", "board-2"],
    ],
  },
  {
    name: "quillfen-vlans",
    plan: demo("quillfen-vlans.yaml"),
    source: "tower",
    ttl: "8",
    some: ["board-1", "kiosk-1", "desk-2"],
    all: [..."board-1 board-2 clock kiosk-1 kiosk-2 till-1 till-2 desk-1 desk-2 desk-3 desk-4".split(" ")],
    shared: [
      ["board-1", "kiosk-1"],
      ["desk-2", "desk-3"],
    ],
  },
  {
    name: "membership",
    plan: planIn("support/membership-plan.ts", "MEMBERSHIP_PLAN"),
    source: "tower",
    some: ["kiosk", "till-a"],
    all: ["office", "kiosk", "stand", "till-a", "till-b", "lobby", "vault"],
    shared: [
      ["till-a", "till-b"],
      ["kiosk", "stand"],
    ],
  },
  {
    name: "ring",
    plan: readFileSync(new URL("../../field/support/ring.yaml", import.meta.url), "utf8"),
    source: "a1",
    ttl: "8",
    some: ["a2", "c1"],
    all: ["a2", "b1", "b2", "c1", "c2"],
    shared: [
      ["b1", "b2"],
      ["c1", "c2"],
    ],
  },
  {
    name: "live-safety",
    plan: planIn("live-safety.test.ts", "PLAN"),
    source: "tower",
    some: ["kiosk"],
    all: ["kiosk", "office", "stand"],
    shared: [["kiosk", "office"]],
  },
];
