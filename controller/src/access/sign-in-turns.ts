import { Fault } from "@dyetrace/wire";

/**
 * Tries of one network, or of one device that is known, in a minute, at passwords and again at tokens: whoever guesses needs years
 * for a poor password.
 */
export const MOST_TRIES = 10;

/** Passwords that are worked out at the same time: each takes a processor and 32 MB for a while. */
const MOST_AT_ONCE = 2;
/** Of these, for whoever has never signed in from there: the rest is kept for those who have. */
const MOST_OF_STRANGERS = 1;
/** As many wait in each line: some two seconds. */
const MOST_WAITING = 32;

interface Waiting {
  readonly start: () => void;
  readonly refuse: () => void;
}

/**
 * Who has a password worked out when. Guessers fill whatever there is, from ever new addresses: so each network waits with one
 * try at a time, nobody is turned away for having come last, and those who have signed in before have a line of their own.
 */
export class SignInTurns {
  readonly #random: () => number;
  readonly #known = new Map<string, Waiting>();
  readonly #strangers = new Map<string, Waiting>();
  readonly #busy = new Set<string>();
  #working = 0;
  #workingForStrangers = 0;

  /** @param random from 0 to less than 1 */
  constructor(random: () => number = Math.random) {
    this.#random = random;
  }

  /**
   * @param who a device that is known, or the network of one that is not
   * @throws {Fault} TOO_MANY, and what `work` throws
   */
  async take<T>(who: string, isKnown: boolean, work: () => Promise<T>): Promise<T> {
    const id = `${isKnown} ${who}`;
    if (this.#busy.has(id)) throw tooMany("Another sign-in from here is being looked at");
    this.#busy.add(id);
    try {
      await this.#turn(id, isKnown);
      try {
        return await work();
      } finally {
        this.#working--;
        if (!isKnown) this.#workingForStrangers--;
        this.#next();
      }
    } finally {
      this.#busy.delete(id);
    }
  }

  #turn(id: string, isKnown: boolean): Promise<void> {
    const line = isKnown ? this.#known : this.#strangers;
    return new Promise((resolve, reject) => {
      if (line.size >= MOST_WAITING) {
        const [unlucky, one] = [...line][Math.floor(this.#random() * line.size)] ?? [];
        line.delete(unlucky ?? "");
        one?.refuse();
      }
      line.set(id, { start: resolve, refuse: () => reject(tooMany("Too many sign-ins at once")) });
      this.#next();
    });
  }

  #next(): void {
    while (this.#working < MOST_AT_ONCE) {
      const isKnown = this.#known.size > 0;
      if (!isKnown && this.#workingForStrangers >= MOST_OF_STRANGERS) return;
      const line = isKnown ? this.#known : this.#strangers;
      const [id, one] = line.entries().next().value ?? [];
      if (id === undefined || one === undefined) return;
      line.delete(id);
      this.#working++;
      if (!isKnown) this.#workingForStrangers++;
      one.start();
    }
  }
}

const tooMany = (message: string): Fault => new Fault("TOO_MANY", message, "Try again in a second");
