import { setTimeout as sleep } from "node:timers/promises";
import { Fault } from "@dyetrace/wire";
import type { PracticeHost } from "../host/practice-host.ts";
import type { PracticeProcess } from "../host/practice-process.ts";
import { runSteps } from "../host/run-steps.ts";
import { inside, type Step } from "../host/step.ts";
import type { FaultGround, FaultPlan } from "./fault-plan.ts";
import { invalid } from "./places.ts";
import { planFault } from "./plan-fault.ts";
import type { PracticeFault } from "./practice-fault.ts";

/** The faults that stand on a site. They are put in and taken out one at a time, in the order of the calls. */
export class FaultBoard {
  readonly #host: PracticeHost;
  readonly #ground: FaultGround;
  readonly #standing = new Map<PracticeFault, StandingFault>();
  #turn: Promise<unknown> = Promise.resolve();
  #count = 0;

  constructor(host: PracticeHost, ground: FaultGround) {
    this.#host = host;
    this.#ground = ground;
  }

  /** @throws {Fault} PRACTICE_FAULT_INVALID before anything is changed, PRACTICE_FAILED after taking back what was done */
  inject(faults: readonly PracticeFault[]): Promise<void> {
    return this.#inTurn(async () => {
      const plans = this.#plan(faults);
      const done: PracticeFault[] = [];
      try {
        for (const [fault, plan] of plans) {
          this.#standing.set(fault, { plan, helper: null });
          done.push(fault);
          await runSteps(this.#host, plan.apply);
          const helper = await this.#startHelper(plan);
          this.#standing.set(fault, { plan, helper });
          await runSteps(this.#host, plan.helper?.engage ?? []);
        }
      } catch (error) {
        for (const fault of done.toReversed()) await this.#takeOut(fault).catch(() => {}); // `error` says what went wrong
        throw error;
      }
    });
  }

  /** @throws {Fault} PRACTICE_FAULT_INVALID if one is not standing, PRACTICE_FAILED if one could not be taken out whole */
  lift(faults: readonly PracticeFault[]): Promise<void> {
    return this.#inTurn(async () => {
      for (const fault of faults) {
        if (!this.#standing.has(fault)) throw invalid(`The fault ${fault.fault} on ${fault.on} is not standing`, "");
      }
      for (const fault of faults.toReversed()) await this.#takeOut(fault);
    });
  }

  #plan(faults: readonly PracticeFault[]): ReadonlyMap<PracticeFault, FaultPlan> {
    const claimed = new Map<string, PracticeFault>();
    for (const [fault, { plan }] of this.#standing) for (const claim of plan.claims) claimed.set(claim, fault);
    const plans = new Map<PracticeFault, FaultPlan>();
    for (const fault of faults) {
      if (this.#standing.has(fault) || plans.has(fault)) {
        throw invalid(`The fault ${fault.fault} on ${fault.on} stands already`, "Take it out first");
      }
      const plan = planFault(fault, this.#ground, `fault${++this.#count}`);
      for (const claim of plan.claims) {
        const other = claimed.get(claim);
        if (other !== undefined) throw twice(fault, other);
        claimed.set(claim, fault);
      }
      plans.set(fault, plan);
    }
    return plans;
  }

  async #takeOut(fault: PracticeFault): Promise<void> {
    const standing = this.#standing.get(fault);
    if (standing === undefined) return;
    this.#standing.delete(fault);
    const { plan, helper } = standing;
    let problem: unknown = null;
    const tryAll = async (steps: readonly Step[]): Promise<void> => {
      for (const step of steps) {
        await runSteps(this.#host, [step]).catch((error: unknown) => {
          problem ??= error;
        });
      }
    };
    if (helper !== null && plan.helper !== undefined) {
      await tryAll(plan.helper.release);
      await Promise.race([sleep(plan.helper.holdsMs), helper.exit]);
      helper.signal("SIGKILL");
      await helper.exit;
    }
    await tryAll(plan.undo);
    if (problem !== null) throw problem;
  }

  async #startHelper({ helper }: FaultPlan): Promise<PracticeProcess | null> {
    if (helper === undefined) return null;
    const words: string[] = [];
    let onReady = (): void => {};
    const ready = new Promise<"ready">((resolve) => {
      onReady = () => resolve("ready");
    });
    const process = await this.#host.spawn(inside(helper.namespace, helper.argv), {
      onLine: (line) => (line === "ready" ? onReady() : words.push(line)),
    });
    if ((await Promise.race([ready, process.exit])) !== "ready") throw helperFailed(words);
    return process;
  }

  #inTurn(task: () => Promise<void>): Promise<void> {
    const turn = this.#turn.then(task);
    this.#turn = turn.catch(() => {});
    return turn;
  }
}

const twice = (fault: PracticeFault, other: PracticeFault): Fault =>
  invalid(
    `The faults ${other.fault} on ${other.on} and ${fault.fault} on ${fault.on} change the same setting`,
    "Put in one of them, or one after the other",
  );

const helperFailed = (words: readonly string[]): Fault =>
  new Fault("PRACTICE_FAILED", `The helper of a fault ended at once: ${words.join(" ")}`, "");

interface StandingFault {
  readonly plan: FaultPlan;
  readonly helper: PracticeProcess | null;
}
