import { Fault } from "@dyetrace/wire";

/** Why a run's signal is aborted when somebody ordered its end. */
export class StopOrder {
  /** In words that follow "by"; null: it is not known who. */
  readonly by: string | null;

  constructor(by: string | null) {
    this.by = by;
  }
}

/** @returns null: it is not known, or nobody did */
export const stoppedBy = (signal: AbortSignal): string | null =>
  signal.reason instanceof StopOrder ? signal.reason.by : null;

/** "by anna", or nothing where it is not known. */
export const byWhom = (by: string | null): string => (by === null ? "" : ` by ${by}`);

/** Of a run whose streams had not begun. */
export const cancelledUnbegun = (signal: AbortSignal): Fault =>
  new Fault(
    "RUN_CANCELLED",
    `It was stopped${byWhom(stoppedBy(signal))} while it was being prepared: its streams had not begun`,
    "",
  );
