import type { SpoolFile } from "./spool-file.ts";
import type { WaitingReport } from "./waiting-reports.ts";

/**
 * Reports of the latest run that the controller has stored, oldest first. They are kept for a while: a controller whose store
 * was put back from an older copy asks for them again.
 */
export class AcknowledgedReports {
  #entries: WaitingReport[] = [];
  #sizeBytes = 0;

  get sizeBytes(): number {
    return this.#sizeBytes;
  }

  add(entries: readonly WaitingReport[]): void {
    for (const entry of entries) {
      this.#entries.push(entry);
      this.#sizeBytes += entry.sizeBytes;
    }
  }

  files(): ReadonlySet<SpoolFile> {
    return new Set(this.#entries.flatMap(({ file }) => file ?? []));
  }

  holds(file: SpoolFile): boolean {
    return this.#entries.some((entry) => entry.file === file);
  }

  /** Takes out those that `isMeant` says. @returns them, in order */
  take(isMeant: (entry: WaitingReport) => boolean): readonly WaitingReport[] {
    const taken = this.#entries.filter(isMeant);
    if (taken.length === 0) return taken;
    const out = new Set(taken);
    this.#entries = this.#entries.filter((entry) => !out.has(entry));
    for (const { sizeBytes } of taken) this.#sizeBytes -= sizeBytes;
    return taken;
  }

  /** Takes out the oldest, with all that stand in the same file. @returns that file; null: there is none */
  takeOldestFile(): SpoolFile | null {
    const file = this.#entries[0]?.file ?? null;
    this.take((entry) => entry.file === file);
    return file;
  }
}
