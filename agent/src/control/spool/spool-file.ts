import {
  closeSync,
  existsSync,
  fstatSync,
  fsyncSync,
  ftruncateSync,
  openSync,
  readFileSync,
  readSync,
  renameSync,
  rmSync,
  writeSync,
} from "node:fs";

/** Where a record stands in a file, in bytes; the newline that ends it not counted. */
export interface RecordPlace {
  readonly offset: number;
  readonly length: number;
}

const NEWLINE = 0x0a;

/**
 * A file of JSON records, a line each, that survives its writer's death at any instant: a line without its end was
 * being written then, and is cut off. Records go to the kernel at once; they are not forced to the disk, so a power cut
 * may cost the last seconds.
 */
export class SpoolFile {
  readonly path: string;
  #descriptor: number;
  #size: number;
  #isOpen = true;

  private constructor(path: string, descriptor: number, size: number) {
    this.path = path;
    this.#descriptor = descriptor;
    this.#size = size;
  }

  /** Opens a file, new or left by a process that died, and cuts off what that one had not finished. */
  static open(path: string): SpoolFile {
    const descriptor = openSync(path, existsSync(path) ? "r+" : "w+", 0o600);
    const bytes = readFileSync(descriptor);
    const end = bytes.lastIndexOf(NEWLINE) + 1;
    if (end < bytes.length) ftruncateSync(descriptor, end);
    return new SpoolFile(path, descriptor, end);
  }

  get sizeBytes(): number {
    return this.#size;
  }

  /** Every record with its place, oldest first; a damaged line is left out. */
  *records(): Generator<{ readonly place: RecordPlace; readonly value: unknown }> {
    const bytes = Buffer.alloc(fstatSync(this.#descriptor).size);
    readSync(this.#descriptor, bytes, 0, bytes.length, 0);
    for (let offset = 0; offset < bytes.length; ) {
      const end = bytes.indexOf(NEWLINE, offset);
      if (end < 0) return;
      const place = { offset, length: end - offset };
      const value = parse(bytes.toString("utf8", offset, end));
      if (value !== undefined) yield { place, value };
      offset = end + 1;
    }
  }

  /** @throws {Error} with the system's code, such as ENOSPC; the file is then as it was */
  append(value: unknown): RecordPlace {
    const line = Buffer.from(`${JSON.stringify(value)}\n`);
    const offset = this.#size;
    try {
      for (let done = 0; done < line.length; ) {
        done += writeSync(this.#descriptor, line, done, line.length - done, offset + done);
      }
    } catch (error) {
      ftruncateSync(this.#descriptor, offset);
      throw error;
    }
    this.#size = offset + line.length;
    return { offset, length: line.length - 1 };
  }

  read({ offset, length }: RecordPlace): unknown {
    const bytes = Buffer.alloc(length);
    readSync(this.#descriptor, bytes, 0, length, offset);
    return JSON.parse(bytes.toString("utf8"));
  }

  /** Puts these records in place of all there are, at once or, if that fails, not at all. @returns their places */
  replace(values: Iterable<unknown>): readonly RecordPlace[] {
    const fresh = `${this.path}.new`;
    rmSync(fresh, { force: true });
    const next = SpoolFile.open(fresh);
    try {
      const places = [...values].map((value) => next.append(value));
      // Else, after a power cut, the name may stand before an empty file, and every report is lost.
      fsyncSync(next.#descriptor);
      renameSync(fresh, this.path);
      closeSync(this.#descriptor);
      this.#descriptor = next.#descriptor;
      this.#size = next.#size;
      return places;
    } catch (error) {
      next.remove();
      throw error;
    }
  }

  close(): void {
    if (this.#isOpen) closeSync(this.#descriptor);
    this.#isOpen = false;
  }

  remove(): void {
    this.close();
    rmSync(this.path, { force: true });
  }
}

function parse(text: string): unknown {
  try {
    return JSON.parse(text);
  } catch {
    return undefined;
  }
}
