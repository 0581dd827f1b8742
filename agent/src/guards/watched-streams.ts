import type { AgentTask, Guards, TaskStream } from "@dyetrace/wire";
import { parseIpAddress } from "@dyetrace/wire/ip-address";
import { mayFollow } from "./join-guard.ts";

/** Each has a socket of its own, of which each frame passes every filter; our choice, no source. */
const MOST_WATCHED = 64;

/**
 * Streams of others that a task does not join: this host follows them at its network card, for as long as the task lasts. Where
 * another program has joined, that is what it gets; where none has, what comes is a leak. Which groups may be followed is
 * the host's own word here too, and what is not watched is not told as quiet.
 */
export function watchedStreams(task: AgentTask, guards: Guards): readonly TaskStream[] {
  if (task.looksForUse === true) return [];
  const joined = new Set(task.actions.flatMap(({ kind, streamId }) => (kind === "join" ? [streamId] : [])));
  return task.streams
    .filter(({ streamId, production, group }) => {
      if (production === undefined || joined.has(streamId)) return false;
      const address = parseIpAddress(group);
      return address !== null && mayFollow(address, guards.allowedFollows ?? []);
    })
    .slice(0, MOST_WATCHED);
}
