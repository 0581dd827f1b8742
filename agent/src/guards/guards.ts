import type { AgentTask, Guards } from "@dyetrace/wire";
import { Fault } from "@dyetrace/wire/fault";
import { formatDurationNs } from "@dyetrace/wire/units";
import { type GuardedStream, IN_FILE, taskRefused } from "./guarded-stream.ts";
import { refuseJoins } from "./join-guard.ts";
import { SendingGuard } from "./sending-guard.ts";

/**
 * Walks through a task's actions, of which there may be 65,536, and refuses it if at any time it would exceed the guards. The
 * sender asks again before each stream that it starts or changes.
 */
export function refuseTask(task: AgentTask, guards: Guards): Fault | null {
  const streams = new Map<number, GuardedStream>(task.streams.map((stream) => [stream.streamId, stream]));
  const sending = new SendingGuard(guards);
  const follows = task.streams.some(({ production }) => production !== undefined);
  for (const { kind, streamId, rateBps, payloadBytes } of task.actions) {
    const stream = streams.get(streamId);
    if (stream === undefined) {
      return new Fault("MESSAGE_INVALID", `The task acts on stream ${streamId}, which it does not describe`, "");
    }
    if (kind === "join" || kind === "leave") continue;
    if (follows) {
      const why = "send anything in a run that follows streams of others";
      return taskRefused(why, "Send and follow in two runs.");
    }
    if (kind === "stop") {
      sending.stop(streamId);
      continue;
    }
    const changed = {
      ...stream,
      rateBps: rateBps ?? stream.rateBps,
      payloadBytes: payloadBytes ?? stream.payloadBytes,
    };
    streams.set(streamId, changed);
    const refusal = kind === "emit" ? sending.start(changed) : sending.change(changed);
    if (refusal !== null) return refusal;
  }
  return refuseJoins(task, guards) ?? refuseTimes(task, guards);
}

function refuseTimes(task: AgentTask, guards: Guards): Fault | null {
  if (!task.actions.some((action) => action.kind === "emit")) return null;
  if (task.endNs > guards.maxDurationNs) {
    const [asked, most] = [formatDurationNs(task.endNs), formatDurationNs(guards.maxDurationNs)];
    return taskRefused(`send for ${asked}: the most is ${most}`, `See max-duration ${IN_FILE}.`);
  }
  if (task.holdNs > guards.maxHoldNs) {
    const [asked, most] = [formatDurationNs(task.holdNs), formatDurationNs(guards.maxHoldNs)];
    return taskRefused(
      `go on sending for ${asked} without its controller: the most is ${most}`,
      `Lower the scenario's hold, or see max-hold ${IN_FILE}.`,
    );
  }
  return null;
}
