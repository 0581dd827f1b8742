import { Fault } from "@dyetrace/wire";
import { keepNewCredential } from "./credential-file.ts";

/**
 * With what this host shows who it is: its credential and the one before, because after a crash nobody knows which of the two the
 * controller goes by. The newer is tried first.
 */
export class HostKeys {
  readonly #folder: string | null;
  #keys: readonly string[];
  #at = 0;
  #refused = 0;

  /** @param folder where credentials are kept; null: this one was given at the start and no other can be kept */
  constructor(folder: string | null, credential: string, previous: string | null) {
    this.#folder = folder;
    this.#keys = previous === null ? [credential] : [credential, previous];
  }

  /** What to show now. */
  get key(): string {
    return this.#keys[this.#at] ?? "";
  }

  /** The controller knows the key that was shown. */
  welcomed(): void {
    this.#refused = 0;
  }

  /** The controller does not know the key that was shown. @returns whether there is another one to show */
  nextKey(): boolean {
    this.#refused++;
    if (this.#refused >= this.#keys.length) return false;
    this.#at = (this.#at + 1) % this.#keys.length;
    return true;
  }

  /**
   * Puts another credential in the place of the one that is in use, on the disk before anything else.
   * @throws {Fault} FILE_UNREADABLE, OPTION_INVALID; then this host goes on with what it has
   */
  renew(credential: string, until: string): void {
    if (this.#folder === null) {
      throw new Fault("OPTION_INVALID", "It was started with --key and has no credential of its own", "");
    }
    keepNewCredential(this.#folder, credential, until, this.key);
    this.#keys = [credential, this.key];
    this.#at = 0;
    this.#refused = 0;
  }
}
