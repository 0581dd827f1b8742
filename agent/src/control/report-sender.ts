import type { ControllerLink } from "./controller-link.ts";
import type { ReportMessage } from "./spool/report-message.ts";
import type { ReportSpool } from "./spool/report-spool.ts";

/** Reports that may be under way without an acknowledgement: a controller that comes back is not buried under a night's worth. */
const MOST_UNDER_WAY = 32;

/** Sends what waits in the spool, oldest first, as fast as the controller acknowledges it. */
export class ReportSender {
  readonly #spool: ReportSpool;
  readonly #link: Pick<ControllerLink, "isUp" | "send">;

  constructor(spool: ReportSpool, link: Pick<ControllerLink, "isUp" | "send">) {
    this.#spool = spool;
    this.#link = link;
  }

  add(message: ReportMessage): void {
    this.#spool.add(message);
    this.#pump();
  }

  /** A new connection stands: what was under way on the old one may never have arrived. */
  linkUp(): void {
    this.#spool.rewind();
    this.#pump();
  }

  acknowledged(stint: string, lastNumber: number): void {
    this.#spool.acknowledge(stint, lastNumber);
    this.#pump();
  }

  /** The controller will not have it, and never will. */
  refused(stint: string, lastNumber: number): void {
    this.#spool.discard(stint, lastNumber);
    this.#pump();
  }

  /** What the controller's store has of a run; the rest is sent, again if need be. */
  stored(runId: string, stints: ReadonlyMap<string, number>): void {
    this.#spool.stored(runId, stints);
    this.#spool.rewind();
    this.#pump();
  }

  #pump(): void {
    while (this.#link.isUp && this.#spool.underWay < MOST_UNDER_WAY) {
      const message = this.#spool.next();
      if (message === null) return;
      this.#link.send(message);
    }
  }
}
