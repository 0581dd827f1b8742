import type { AgentTask, ControllerMessage, IntervalReport } from "@dyetrace/wire";
import fc from "fast-check";
import { pino } from "pino";
import { expect, test } from "vitest";
import type { DataPlane } from "../data-plane/data-plane.ts";
import type { Watcher } from "../watcher/open-watcher.ts";
import { AgentDuty } from "./agent-duty.ts";

/** A controller may say anything in any order; the agent must neither end nor send what was not ordered, or was ended. */
const RUNS = ["00000000000000aa", "00000000000000bb"] as const;
type Order = Extract<ControllerMessage, { kind: "prepare" | "go" | "resume" | "abort" }>;

const taskOf = (runId: string): AgentTask => ({
  runId,
  streams: [],
  actions: [],
  endNs: 600e9,
  intervalNs: 1e9,
  holdNs: 5e9,
});

/** Keeps to what `DataPlane` says of itself, and throws where that is not kept. */
class FakeDataPlane implements Partial<DataPlane> {
  readonly capabilities = { interface: { name: "lo" } } as DataPlane["capabilities"];
  readonly begun: string[] = [];
  #tell: (report: IntervalReport) => void = () => {};
  #run: { readonly runId: string; isOn: boolean; readonly over: Promise<IntervalReport>; end: () => void } | null =
    null;

  /** The run that sends or listens now. */
  get on(): string | null {
    return this.#run?.isOn === true ? this.#run.runId : null;
  }

  async prepare({ runId }: AgentTask): Promise<void> {
    this.#run?.end();
    await new Promise((resolve) => setImmediate(resolve)); // threads open sockets
    let end = (): void => {};
    const over = new Promise<IntervalReport>((resolve) => {
      end = () => {
        const report = {
          totals: { listeners: [], senders: [] },
          listeners: [],
          senders: [],
        } as unknown as IntervalReport;
        const wasOn = this.#run?.isOn === true;
        this.#run = null;
        if (wasOn) this.#tell(report);
        resolve(report);
      };
    });
    this.#run = { runId, isOn: false, over, end };
  }

  go(): void {
    if (this.#run === null || this.#run.isOn) throw new Error("go without prepare");
    this.#run.isOn = true;
    this.begun.push(this.#run.runId);
  }

  onInterval(listener: (report: IntervalReport) => void): void {
    this.#tell = listener;
  }

  onTrouble(): void {}

  abort(): void {
    this.#run?.end();
  }

  finish(): Promise<IntervalReport> {
    return this.#run === null ? Promise.reject(new Error("finish without a run")) : this.#run.over;
  }
}

const monotonicNs = (): number => Number(process.hrtime.bigint());

let isStopped = false;

function playedBy(): { duty: AgentDuty; plane: FakeDataPlane; take: (order: Order) => void; said: string[] } {
  const plane = new FakeDataPlane();
  const said: string[] = [];
  const duty = new AgentDuty({
    dataPlane: plane as unknown as DataPlane,
    watcher: { wake: async () => {}, watch: async () => {}, snapshot: async () => null } as unknown as Watcher,
    log: pino({ level: "silent" }),
    link: { send: ({ kind }) => said.push(kind), clock: () => ({ offsetNs: 0, uncertaintyNs: 1000 }) },
    sender: { add: () => {} },
    hostStop: {
      get isStopped() {
        return isStopped;
      },
    },
  });
  const take = (order: Order): void => {
    if (order.kind === "prepare") duty.prepare(order);
    else if (order.kind === "go") duty.go(order);
    else if (order.kind === "resume") duty.resume(order);
    else duty.abort(order);
  };
  return { duty, plane, take, said };
}

const settled = async (): Promise<void> => {
  for (let turn = 0; turn < 20; turn++) await new Promise((resolve) => setImmediate(resolve));
};

const order = (kind: Order["kind"], runId: string, leadNs = 1e9): Order => {
  if (kind === "prepare") return { kind, runId, task: taskOf(runId) };
  if (kind === "abort") return { kind, runId, reason: "enough" };
  const startControllerNs = monotonicNs() + leadNs;
  return kind === "go" ? { kind, runId, startControllerNs } : { kind, runId, task: taskOf(runId), startControllerNs };
};

test.each<[string, readonly Order["kind"][]]>([
  ["go before it is prepared", ["prepare", "go"]],
  ["go after abort", ["prepare", "abort", "go"]],
  ["go and nothing before", ["go"]],
])("AgentDuty: given %s, then it does not begin, says so, and goes on", async (_what, kinds) => {
  const { plane, take, said, duty } = playedBy();
  for (const kind of kinds) take(order(kind, RUNS[0]));
  await settled();
  expect(plane.begun).toEqual([]);
  expect(said).toContain("trouble");
  take(order("prepare", RUNS[1]));
  await settled();
  take(order("go", RUNS[1]));
  expect([plane.begun, duty.runId]).toEqual([[RUNS[1]], RUNS[1]]);
});

test("AgentDuty: given abort once it is prepared, then go is refused; given a start an hour away, then too", async () => {
  const { plane, take } = playedBy();
  take(order("prepare", RUNS[0]));
  await settled();
  take(order("abort", RUNS[0]));
  take(order("go", RUNS[0]));
  take(order("prepare", RUNS[1]));
  await settled();
  take(order("go", RUNS[1], -3600e9));
  expect(plane.begun).toEqual([]);
});

test("AgentDuty: given a host that is stopped, then what it is busy with ends, and nothing begins until it is released", async () => {
  const { plane, take, said, duty } = playedBy();
  take(order("prepare", RUNS[0]));
  await settled();
  take(order("go", RUNS[0]));
  expect(plane.on).toBe(RUNS[0]);
  isStopped = true;
  duty.stop();
  expect([plane.on, said.at(-1)]).toEqual([null, "trouble"]);
  for (const kind of ["prepare", "resume"] as const) {
    take(order(kind, RUNS[1]));
    await settled();
    take(order("go", RUNS[1]));
  }
  expect([plane.begun, said.filter((kind) => kind === "refused")]).toEqual([[RUNS[0]], ["refused"]]);
  isStopped = false;
  take(order("prepare", RUNS[1]));
  await settled();
  take(order("go", RUNS[1]));
  expect(plane.on).toBe(RUNS[1]);
});

test("AgentDuty: given abort while a run is taken up again, then it is not taken up", async () => {
  const { plane, take, duty } = playedBy();
  take(order("resume", RUNS[0]));
  await Promise.resolve();
  take(order("abort", RUNS[0]));
  await settled();
  expect([plane.begun, duty.runId]).toEqual([[], null]);
});

test("AgentDuty: given any orders in any order, then it never throws, and after an end of every run nothing goes on", async () => {
  const orders = fc.record({
    kind: fc.constantFrom("prepare", "go", "resume", "abort"),
    runId: fc.constantFrom(...RUNS),
    turns: fc.integer({ min: 0, max: 3 }),
  });
  await fc.assert(
    fc.asyncProperty(fc.array(orders, { maxLength: 12 }), async (all) => {
      const { plane, take, duty } = playedBy();
      for (const { kind, runId, turns } of all) {
        take(order(kind as Order["kind"], runId));
        for (let turn = 0; turn < turns; turn++) await new Promise((resolve) => setImmediate(resolve));
      }
      for (let again = 0; again < 2; again++) {
        await settled();
        for (const runId of RUNS) take(order("abort", runId));
      }
      // The last report of a run that was on reads what the host says of itself.
      for (let waited = 0; duty.runId !== null && waited < 2000; waited++) await new Promise((r) => setTimeout(r, 1));
      expect([plane.on, duty.runId]).toEqual([null, null]);
    }),
    { numRuns: 200 },
  );
});
