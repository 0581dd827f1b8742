import type { Logger } from "pino";
import type { DataPlane, HostLimits } from "../data-plane/data-plane.ts";
import type { AgentDuty } from "./agent-duty.ts";
import type { ControllerLink } from "./controller-link.ts";

/** A controller learns of other limits by a new hello, and that waits until no run is on. */
const TELL_EVERY_MS = 500;

interface Means {
  readonly dataPlane: Pick<DataPlane, "limit">;
  readonly duty: Pick<AgentDuty, "runId" | "stop">;
  readonly link: Pick<ControllerLink, "renew">;
  readonly log: Logger;
}

/** Other limits of this host while its agent is at work: a run that they do not allow ends, with the reason told. */
export class LimitChange {
  readonly #with: Means;
  #timer: NodeJS.Timeout | undefined;

  constructor(means: Means) {
    this.#with = means;
  }

  take(limits: HostLimits): void {
    const { dataPlane, duty, log } = this.#with;
    const refusal = dataPlane.limit(limits);
    const { runId } = duty;
    if (refusal !== null) {
      log.warn({ runId }, `what it is busy with ends: ${refusal.message}. ${refusal.hint}`);
      duty.stop(`This host's limits were changed meanwhile: ${refusal.message}`);
    } else if (runId !== null) log.info({ runId }, "what it is busy with keeps to the new limits, and goes on");
    this.#tell();
  }

  close(): void {
    clearTimeout(this.#timer);
  }

  #tell(): void {
    const { duty, link } = this.#with;
    clearTimeout(this.#timer);
    if (duty.runId === null) link.renew();
    else this.#timer = setTimeout(() => this.#tell(), TELL_EVERY_MS);
  }
}
