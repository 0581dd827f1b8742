import { Fault } from "@dyetrace/wire";
import type { AccessRecords, EnrolKeyRecord } from "./access-records.ts";
import { isSecret } from "./secret.ts";

/** How long a key for one host lasts: time to walk to it, not to be found in a shell's history next week. */
export const ENROL_WITHIN_MS = 3600e3;
/** A key for many hosts may wait for the last of them, not for ever. */
export const MOST_LASTING_MS: number = 7 * 24 * 3600e3;
/** Unused keys at the same time, and hosts of one key. */
export const MOST_KEYS = 1000;
export const MOST_HOSTS = 1000;

/** What a key for many hosts is asked for with. */
export interface HostsToEnrol {
  /** How many; 1 to 1000. Null: as many as there are names. */
  readonly hosts: number | null;
  /** The only names that it enrols, each once; null: any name that is free. */
  readonly names: readonly string[] | null;
  readonly lastsMs: number;
}

/** Whom a key is for, as it is kept. */
export type KeyFor = Pick<EnrolKeyRecord, "name" | "hostsLeft" | "names">;

/** @throws {Fault} OPTION_INVALID */
export function checkHostsToEnrol({ hosts, names, lastsMs }: HostsToEnrol): HostsToEnrol & { readonly hosts: number } {
  const unique = names === null ? null : [...new Set(names)];
  const many = hosts ?? unique?.length ?? 0;
  if (!Number.isInteger(many) || many < 1 || many > MOST_HOSTS) {
    throw new Fault("OPTION_INVALID", `A key enrols 1 to ${MOST_HOSTS} hosts, not ${many}`, "Make several keys");
  }
  if (unique !== null && unique.length < many) {
    throw new Fault("OPTION_INVALID", `There are ${unique.length} names for ${many} hosts`, "Give as many names");
  }
  if (!(lastsMs >= 60e3 && lastsMs <= MOST_LASTING_MS)) {
    throw new Fault("OPTION_INVALID", "A key for many hosts lasts from a minute to 7 days", "Make another one then");
  }
  return { hosts: many, names: unique, lastsMs };
}

/** @param bare of a key: `id.secret` @throws {Fault} NOT_AUTHORISED, NAME_TAKEN */
export function keyRecord(
  { enrolKeys, agents }: AccessRecords,
  bare: string,
  name: string,
  nowMs: number,
): EnrolKeyRecord {
  const record = find(enrolKeys, bare);
  if (record === undefined || Date.parse(record.until) <= nowMs) {
    throw new Fault(
      "NOT_AUTHORISED",
      "This key to enrol with is unknown, was used already, or has run out",
      "Make a new one on the console's page of agents",
    );
  }
  if (record.name !== null && record.name !== name) {
    throw new Fault("NOT_AUTHORISED", `This key is for the agent ${record.name}, not for ${name}`, "");
  }
  // A key that was made for this very name replaces the credential of a host that was set up anew.
  if (record.name === null && agents.some((agent) => agent.name === name)) {
    throw new Fault(
      "NAME_TAKEN",
      `An agent ${name} is enrolled already`,
      "Make a key for that name, or take another --name",
    );
  }
  if (record.names !== undefined && !record.names.includes(name)) {
    throw new Fault(
      "NOT_AUTHORISED",
      `This key is for hosts of other names than ${name}`,
      "Give one of them by --name",
    );
  }
  return record;
}

/** What is left of a key when a host has enrolled with it: one host fewer, one name fewer, or nothing. */
export function afterUse(record: EnrolKeyRecord, name: string): readonly EnrolKeyRecord[] {
  const hostsLeft = (record.hostsLeft ?? 1) - 1;
  if (hostsLeft === 0) return [];
  const names = record.names?.filter((one) => one !== name);
  return [{ ...record, hostsLeft, ...(names === undefined ? {} : { names }) }];
}

/** @param key `id.secret` */
function find(records: readonly EnrolKeyRecord[], key: string): EnrolKeyRecord | undefined {
  const [id, secret] = key.split(".");
  if (id === undefined || secret === undefined) return undefined;
  const record = records.find((one) => one.id === id);
  return record !== undefined && isSecret(secret, record.secret) ? record : undefined;
}
