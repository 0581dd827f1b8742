import type { SwitchAnswers } from "./switch-question.ts";

/** One answer may be of the moment at which `lldpd` registers. */
const REFUSALS = 2;
/** Answers of `snmpd` itself, one at each asking, while the one for `lldpd` is open. */
const SILENCES = 4;
/** After it was found lost: a start takes a second, and many on a busy machine. */
const FIRST_GRACE_MS = 6_000;
const LONGEST_GRACE_MS = 60_000;

/**
 * Whether a switch's `snmpd` and `lldpd` have lost each other. Tried with both stopped for half a minute: `lldpd` comes back, but does
 * not register, or does not answer any more, and nothing mends it. A switch that says nothing at all is busy, and has lost nothing.
 */
export class LldpHealth {
  #refusals = 0;
  #silences = 0;
  #graceMs = FIRST_GRACE_MS;
  #notBeforeMs = 0;

  /** @returns whether it is lost: once, and again only where it stays so */
  hear({ isSnmpdThere, lldpd }: SwitchAnswers, nowMs: number): boolean {
    if (lldpd === "there") this.#graceMs = FIRST_GRACE_MS;
    if (lldpd !== null) {
      this.#silences = 0;
      this.#refusals = lldpd === "there" ? 0 : this.#refusals + 1;
    } else if (isSnmpdThere) this.#silences++;
    if (nowMs < this.#notBeforeMs || (this.#refusals < REFUSALS && this.#silences < SILENCES)) return false;
    this.#refusals = 0;
    this.#silences = 0;
    this.#notBeforeMs = nowMs + this.#graceMs;
    this.#graceMs = Math.min(LONGEST_GRACE_MS, 2 * this.#graceMs);
    return true;
  }
}
