import { readdirSync, readFileSync, statSync } from "node:fs";
import { Fault } from "@dyetrace/wire";
import { PRACTICE_HOST_MARKER } from "../host/protocol.ts";

/** A practice site that stands on this machine, of the same user, raised by whatever process. */
export interface StandingSite {
  readonly id: string;
  /** As the site plan calls it. */
  readonly name: string;
  /** Of its innermost process, as this machine counts. */
  readonly hostPid: number;
}

/** Looks through /proc: a site writes nothing to disk that could outlive it. @returns in the order of their process ids */
export function findPracticeSites(): readonly StandingSite[] {
  const sites = new Map<string, StandingSite>();
  for (const entry of readdirSync("/proc")) {
    const site = /^[0-9]+$/.test(entry) ? siteOf(Number(entry)) : null;
    // While the host starts a program, the copy of it that becomes that program bears its arguments too; the host came first.
    const known = site === null ? undefined : sites.get(site.id);
    if (site !== null && (known === undefined || site.hostPid < known.hostPid)) sites.set(site.id, site);
  }
  return [...sites.values()].toSorted((a, b) => a.hostPid - b.hostPid);
}

function siteOf(pid: number): StandingSite | null {
  try {
    if (statSync(`/proc/${pid}`).uid !== process.getuid?.()) return null;
    // The programs that lead to the host bear the same arguments further back.
    const [, , marker, id, name] = readFileSync(`/proc/${pid}/cmdline`, "utf8").split("\0");
    if (marker !== PRACTICE_HOST_MARKER || id === undefined || name === undefined) return null;
    return { id, name, hostPid: pid };
  } catch {
    return null; // it has ended meanwhile, or is not ours to read
  }
}

/**
 * @param wanted a site's id or name; null for the only one that stands
 * @throws {Fault} PRACTICE_NOT_FOUND, also where several fit: its message lists them
 */
export function chooseStandingSite(sites: readonly StandingSite[], wanted: string | null): StandingSite {
  const fitting = sites.filter(({ id, name }) => wanted === null || id === wanted || name === wanted);
  const [site] = fitting;
  if (site !== undefined && fitting.length === 1) return site;
  if (site === undefined) {
    throw new Fault(
      "PRACTICE_NOT_FOUND",
      wanted === null ? "No practice site of yours stands on this machine" : `No practice site is called "${wanted}"`,
      sites.length === 0 ? "Raise one with: npx dyetrace practice up PLAN" : `Standing: ${list(sites)}`,
    );
  }
  throw new Fault(
    "PRACTICE_NOT_FOUND",
    `Several practice sites stand: ${list(fitting)}`,
    "Say which one with --site and its id",
  );
}

const list = (sites: readonly StandingSite[]): string => sites.map(({ id, name }) => `${id} (${name})`).join(", ");
