import { readFileSync } from "node:fs";
import type { PlanEdit } from "@dyetrace/wire/console/plan-edit";
import fc from "fast-check";
import { expect, test } from "vitest";
import { parse } from "yaml";
import { loadSitePlan } from "../plan/load-site-plan.ts";
import { questionsIn } from "./drawn-comments.ts";
import { editPlan } from "./edit-plan.ts";
import { lineChanges } from "./line-changes.ts";
import { beginHistory, change, type PlanHistory, redo, undo } from "./plan-history.ts";
import { restsIn } from "./rests-in.ts";

const PLAN = `# What hangs where.
site: My site
nodes:
  core:    { kind: switch }

  # The cellar is cold.
  floor-1: { kind: switch } # in the cellar
  player:  { kind: host }
  screen:  { kind: host }
links:
  - core:9   -- player:eth0 # seen: player hears core:9
  - { between: [core:1, floor-1:24], speed: 1 Gbit/s } # concluded: their tables agree
  # The screen's cable is long.
  - floor-1:1 -- screen:eth0
`;

const edited = (text: string, edit: PlanEdit): string => {
  const answer = editPlan(text, edit);
  if ("says" in answer) throw new Error(answer.says);
  return answer.text;
};
const changed = (before: string, after: string): string[] => {
  const [a, b] = [before.split("\n"), after.split("\n")];
  return lineChanges(a, b).flatMap((one) =>
    one.kind === "kept" ? [] : one.kind === "removed" ? `- ${a[one.before]}` : `+ ${b[one.after]}`,
  );
};
const linksOf = (text: string): string[] =>
  loadSitePlan(text, "plan.yaml").links.map(({ a, b }) => `${a.node}:${a.port} -- ${b.node}:${b.port}`);

test("editPlan: given a host is moved, then one line differs, and its comment no longer says that this was seen", () => {
  expect(changed(PLAN, edited(PLAN, { kind: "move", node: "player", to: "floor-1" }))).toEqual([
    "-   - core:9   -- player:eth0 # seen: player hears core:9",
    "+   - floor-1:2 -- player:eth0 # by hand; drawn as core:9: seen: player hears core:9",
  ]);
});

test("editPlan: given a host is renamed, then its links follow, its agent keeps its name, and given it back it is as before", () => {
  const text = edited(PLAN, { kind: "rename", node: "screen", to: "hall-screen" });
  expect(changed(PLAN, text)).toEqual([
    "-   screen:  { kind: host }",
    "+   hall-screen: { kind: host, agent: screen }",
    "-   - floor-1:1 -- screen:eth0",
    "+   - floor-1:1 -- hall-screen:eth0",
  ]);
  expect(parse(edited(text, { kind: "rename", node: "hall-screen", to: "screen" }))).toEqual(parse(PLAN));
});

test("editPlan: given the querier of a VLAN is renamed or joined, then the VLAN names it anew", () => {
  const plan = PLAN.replace("nodes:", "vlans:\n  10: { querier: floor-1 }\nnodes:");
  expect(edited(plan, { kind: "rename", node: "floor-1", to: "cellar" })).toContain("querier: cellar");
  expect(edited(plan, { kind: "join", node: "core", other: "floor-1" })).toContain("querier: core");
});

test("editPlan: given two switches are joined and split again, then what hung at the second hangs at the first, and apart again", () => {
  const joined = edited(PLAN, { kind: "join", node: "core", other: "floor-1" });
  expect(linksOf(joined)).toEqual(["core:9 -- player:eth0", "core:1 -- screen:eth0"]);
  expect(joined).toContain("# The cellar is cold.");
  const apart = edited(joined, { kind: "split", node: "core", name: "floor-1", neighbours: ["screen"] });
  expect(linksOf(apart)).toEqual(["core:9 -- player:eth0", "floor-1:1 -- screen:eth0", "core:1 -- floor-1:2"]);
});

test("editPlan: given a link is described, then what is known of it stands there, and given nothing is known, then nothing", () => {
  const described = edited(PLAN, {
    ...{ kind: "describe", link: 2, ports: ["7", "eth0"], speed: "100 Mbit/s", vlans: null, isBlocked: false },
  });
  expect(changed(PLAN, described)).toEqual([
    "-   - floor-1:1 -- screen:eth0",
    "+   - { between: [floor-1:7, screen:eth0], speed: 100 Mbit/s }",
  ]);
  const plain: PlanEdit = {
    ...{ kind: "describe", link: 1, ports: ["1", "24"], speed: null, vlans: [10, 20], isBlocked: true },
  };
  expect(edited(PLAN, plain)).toContain(
    "- { between: [core:1, floor-1:24], vlan: [10, 20], blocked: true } # by hand; drawn as core:1 to floor-1:24: concluded: their tables agree",
  );
  const same: PlanEdit = { ...plain, speed: "1 Gbit/s", vlans: null, isBlocked: false };
  expect(edited(PLAN, same)).toBe(PLAN);
});

test("editPlan: given a node of another kind, then what only the old kind has goes", () => {
  const text = edited(PLAN.replace("player:  { kind: host }", "player: { kind: host, agent: pc }"), {
    ...{ kind: "retype", node: "player", to: "unmanaged" },
  });
  expect(text).toContain("player: { kind: unmanaged }\n");
});

test("editPlan: given a question is answered, then its line goes, and with the last one their head", () => {
  const asked = `# Drawn.\n#\n# Questions:\n# ? What stands there?\n# ? And where?\n${PLAN}`;
  expect(questionsIn(asked)).toEqual(["What stands there?", "And where?"]);
  const first = edited(asked, { kind: "answer", question: "What stands there?" });
  expect(questionsIn(first)).toEqual(["And where?"]);
  expect(edited(first, { kind: "answer", question: "And where?" })).toBe(`# Drawn.\n${PLAN}`);
});

test("restsIn: given a drawn plan, then links and nodes rest on what their comments say, and not what was changed by hand", () => {
  expect(restsIn(PLAN).links.map((rests) => rests?.by ?? null)).toEqual(["seen", "concluded", null]);
  const moved = edited(PLAN, { kind: "move", node: "player", to: "floor-1" });
  expect(restsIn(moved).links.map((rests) => rests?.by ?? null)).toEqual([null, "concluded", null]);
});

test.each<readonly [PlanEdit, string]>([
  [{ kind: "rename", node: "core", to: "player" }, "There is a node player already."],
  [{ kind: "move", node: "core", to: "floor-1" }, "core has 2 links: say which one is to lead elsewhere."],
  [{ kind: "move", node: "player", to: "core" }, "player hangs at core already."],
  [{ kind: "move", node: "player", to: "screen" }, "screen is a host with a link"],
  [{ kind: "move", node: "player", to: "attic" }, "There is no node attic."],
  [{ kind: "split", node: "core", name: "x", neighbours: [] }, "Choose what hangs at the new node."],
  [{ kind: "add", at: "core", name: "screen", nodeKind: "host" }, "There is a node screen already."],
  [
    { kind: "describe", link: 0, ports: ["1", "2"], speed: "fast", vlans: null, isBlocked: false },
    '"fast" is no speed.',
  ],
  [{ kind: "unlink", link: 9 }, "This link is no longer in the plan."],
])("editPlan: given %j, then it says what speaks against it", (edit, says) => {
  const answer = editPlan(PLAN, edit);
  expect("says" in answer && answer.says).toContain(says);
});

test.each([
  [
    "a list of links in brackets",
    "site: A\nnodes: { a: { kind: host }, b: { kind: switch } }\nlinks: [ 'b:1 -- a:eth0' ]\n",
  ],
  ["Windows line ends", PLAN.replaceAll("\n", "\r\n")],
  ["keys on lines of their own", PLAN.replace("{ kind: switch } # in", "\n    kind: switch # in")],
])("editPlan: given a plan with %s, then a node is added and the rest is as before", (_, plan) => {
  const nodes = (parse(plan) as { nodes: Record<string, { kind: string }> }).nodes;
  const at = Object.keys(nodes).find((name) => nodes[name]?.kind === "switch") ?? "";
  const text = edited(plan, { kind: "add", at, name: "tv", nodeKind: "host" });
  const [before, after] = [parse(plan), parse(text)] as { nodes: object; links: string[] }[];
  expect(after?.nodes).toEqual({ ...before?.nodes, tv: { kind: "host" } });
  expect(after?.links.slice(0, -1)).toEqual(before?.links);
  expect(after?.links.at(-1)).toMatch(/-- tv:eth0$/);
});

/** The plan as plain data, changed plainly: an independent account of what an edit does to nodes and the neighbours of links. */
interface Model {
  readonly nodes: Map<string, string>;
  links: (readonly [string, string])[];
}
function model(text: string): Model {
  const { nodes, links } = parse(text) as {
    nodes: Record<string, { kind: string }>;
    links: (string | { between: string[] })[];
  };
  const ends = links.map((link) => (typeof link === "string" ? link.split(/\s+--\s+/) : link.between));
  return {
    nodes: new Map(Object.entries(nodes).map(([name, { kind }]) => [name, kind])),
    links: ends.map(([a = "", b = ""]) => [a.split(":")[0] ?? "", b.split(":")[0] ?? ""] as const),
  };
}
function act({ nodes, links }: Model, edit: PlanEdit): Model {
  const swap = (from: string, to: string) => (name: string) => (name === from ? to : name);
  const exchange = (from: string, to: string) => links.map(([a, b]) => [swap(from, to)(a), swap(from, to)(b)] as const);
  switch (edit.kind) {
    case "rename":
      return {
        nodes: new Map([...nodes].map(([name, kind]) => [swap(edit.node, edit.to)(name), kind])),
        links: exchange(edit.node, edit.to),
      };
    case "retype":
      return { nodes: new Map([...nodes, [edit.node, edit.to]]), links };
    case "remove":
      nodes.delete(edit.node);
      return { nodes, links: links.filter((ends) => !ends.includes(edit.node)) };
    case "add":
      return { nodes: new Map([...nodes, [edit.name, edit.nodeKind]]), links: [...links, [edit.at, edit.name]] };
    case "link":
      return { nodes, links: [...links, [edit.a, edit.b]] };
    case "unlink":
      return { nodes, links: links.filter((_, index) => index !== edit.link) };
    default:
      return { nodes, links };
  }
}

const DEMOS = ["quillfen.yaml", "quillfen-vlans.yaml"].map((name) =>
  readFileSync(new URL(`../../../practice/demo/${name}`, import.meta.url), "utf8"),
);
const KINDS = ["host", "switch", "unmanaged", "router", "access-point"] as const;
/** Draws an edit that the plan can take, by numbers: which nodes there are changes from edit to edit. */
function editBy([which, one, two, serial]: readonly number[], text: string): PlanEdit {
  const { nodes, links } = model(text);
  const pick = (number = 0): string => [...nodes.keys()][number % nodes.size] ?? "";
  const [node, other] = [pick(one), pick(two)];
  const all: readonly PlanEdit[] = [
    { kind: "rename", node, to: `n-${serial}` },
    { kind: "retype", node, to: KINDS[(two ?? 0) % KINDS.length] ?? "host" },
    { kind: "remove", node },
    { kind: "add", at: node, name: `n-${serial}`, nodeKind: KINDS[(two ?? 0) % KINDS.length] ?? "host" },
    { kind: "link", a: node, b: other },
    { kind: "unlink", link: (one ?? 0) % Math.max(1, links.length) },
    {
      kind: "describe",
      link: (one ?? 0) % Math.max(1, links.length),
      ports: ["x1", "x2"],
      speed: "10 Mbit/s",
      vlans: [7],
      isBlocked: false,
    },
  ];
  return all[(which ?? 0) % all.length] ?? { kind: "remove", node };
}
/** Comments on lines of their own. */
const ownComments = (text: string): string[] =>
  text.split("\n").flatMap((line) => /^\s*#\s*(.*\S)/.exec(line)?.[1] ?? []);
/** Those after something as well: where the last link is taken out, what stood above it goes on behind the empty list. */
const allComments = (text: string): string[] =>
  text.split("\n").flatMap((line) => /(?:^|\s)#\s*(.*\S)/.exec(line)?.[1] ?? []);
const NUMBERS = fc.array(fc.tuple(fc.nat(99), fc.nat(99), fc.nat(99), fc.nat(9999)), { minLength: 1, maxLength: 6 });

test("editPlan: given any edits one after the other, then the text parses, has what an independent account has, and keeps comments", () => {
  fc.assert(
    fc.property(fc.constantFrom(PLAN, ...DEMOS), NUMBERS, (plan, numbers) => {
      let text = plan;
      for (const number of numbers) {
        const edit = editBy(number, text);
        const answer = editPlan(text, edit);
        if ("says" in answer) continue;
        const [is, expected] = [model(answer.text), act(model(text), edit)];
        expect([...is.nodes]).toEqual([...expected.nodes]);
        expect(is.links).toEqual(expected.links);
        expect(allComments(answer.text)).toEqual(expect.arrayContaining(ownComments(text)));
        text = answer.text;
      }
    }),
    {
      numRuns: 25,
      examples: [
        [
          PLAN,
          [
            [33, 53, 0, 0],
            [30, 0, 0, 0],
            [0, 0, 0, 0],
          ],
        ],
      ],
    },
  );
});

test("history: given any edits, then undoing them all gives the plan as it was, letter by letter, and redoing gives what they made", () => {
  fc.assert(
    fc.property(fc.constantFrom(PLAN, ...DEMOS), NUMBERS, (plan, numbers) => {
      let history: PlanHistory = beginHistory(plan);
      for (const number of numbers) {
        const answer = editPlan(history.now, editBy(number, history.now));
        if ("text" in answer) history = change(history, answer.text);
      }
      const last = history.now;
      while (history.past.length > 0) history = undo(history);
      expect(history.now).toBe(plan);
      expect(undo(history)).toBe(history);
      while (history.future.length > 0) history = redo(history);
      expect(history.now).toBe(last);
    }),
    { numRuns: 10 },
  );
});

test("lineChanges: given any two lists, then what is kept is the same in both, and the rest makes one of the other", () => {
  const lines = fc.array(fc.constantFrom("a", "b", "c"), { maxLength: 12 });
  fc.assert(
    fc.property(lines, lines, (before, after) => {
      const changes = lineChanges(before, after);
      const take = (kinds: readonly string[], of: "before" | "after", list: readonly string[]) =>
        changes.flatMap((one) =>
          kinds.includes(one.kind) && of in one ? list[(one as { before: number; after: number })[of]] : [],
        );
      expect(take(["kept", "removed"], "before", before)).toEqual(before);
      expect(take(["kept", "added"], "after", after)).toEqual(after);
      expect(take(["kept"], "before", before)).toEqual(take(["kept"], "after", after));
    }),
  );
});
