import type { AgentTask, TaskAction, TaskStream } from "@dyetrace/wire";

/**
 * What is left of a task from an instant on, as a task of its own that begins there: streams that should be sent or
 * joined by then are so at once, with the rate and size they have by then.
 * @param fromNs after the task's start, before its end
 */
export function remainingTask(task: AgentTask, fromNs: number): AgentTask {
  const streams = new Map<number, TaskStream>(task.streams.map((stream) => [stream.streamId, { ...stream }]));
  const sending = new Set<number>();
  const joined = new Set<number>();
  for (const action of task.actions.filter(({ atNs }) => atNs <= fromNs)) {
    const { streamId, rateBps, payloadBytes } = action;
    switch (action.kind) {
      case "emit":
        sending.add(streamId);
        break;
      case "stop":
        sending.delete(streamId);
        break;
      case "join":
        joined.add(streamId);
        break;
      case "leave":
        joined.delete(streamId);
        break;
      case "set": {
        const stream = streams.get(streamId);
        if (stream === undefined) break;
        streams.set(streamId, {
          ...stream,
          rateBps: rateBps ?? stream.rateBps,
          payloadBytes: payloadBytes ?? stream.payloadBytes,
        });
      }
    }
  }
  const standing = (kind: "emit" | "join", ids: ReadonlySet<number>): TaskAction[] =>
    [...ids].map((streamId) => ({ atNs: 0, kind, streamId }));
  const later = task.actions
    .filter(({ atNs }) => atNs > fromNs)
    .map((action) => ({ ...action, atNs: action.atNs - fromNs }));
  return {
    ...task,
    streams: [...streams.values()],
    actions: [...standing("join", joined), ...standing("emit", sending), ...later],
    endNs: task.endNs - fromNs,
  };
}
