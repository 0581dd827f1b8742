import type { CDPSession } from "playwright-core";

/** What the compositor drew for some seconds. */
export interface Frames {
  readonly drawn: number;
  readonly seconds: number;
  /** Processor time of the page's threads for each frame; other programs on the machine don't count. */
  readonly cpuMs: ReadonlyMap<string, number>;
}

export const describeFrames = ({ drawn, seconds, cpuMs }: Frames): string => {
  const threads = [...cpuMs]
    .filter(([, ms]) => ms > 0.2)
    .sort((a, b) => b[1] - a[1])
    .map(([name, ms]) => `${name} ${ms.toFixed(1)} ms`);
  return `${(drawn / seconds).toFixed(1)} (processor time a frame: ${threads.join(", ")})`;
};

const TRACED_MS = 5000;

interface TraceEvent {
  readonly name: string;
  readonly ph: string;
  readonly ts: number;
  readonly pid: number;
  readonly tid: number;
  readonly tdur?: number;
  readonly args?: { readonly name?: string };
}

/** Counts the frames that the compositor drew, from the browser's own trace. @param meanwhile what is done on the page */
export async function framesPerSecond(session: CDPSession, meanwhile?: () => Promise<unknown>): Promise<Frames> {
  const events: TraceEvent[] = [];
  session.on("Tracing.dataCollected", ({ value }) => {
    events.push(...(value as unknown as TraceEvent[]));
  });
  const complete = new Promise<void>((resolve) => session.once("Tracing.tracingComplete", () => resolve()));
  await session.send("Tracing.start", {
    transferMode: "ReportEvents",
    traceConfig: {
      includedCategories: [
        "disabled-by-default-devtools.timeline.frame",
        "devtools.timeline.frame",
        "toplevel",
        "__metadata",
      ],
    },
  });
  await (meanwhile?.() ?? new Promise((resolve) => setTimeout(resolve, TRACED_MS)));
  await session.send("Tracing.end");
  await complete;
  await session.detach();
  const drawn = events.filter(({ name }) => name === "DrawFrame").map(({ ts }) => ts);
  const spanUs = Math.max(...drawn) - Math.min(...drawn);
  const threads = new Map(
    events.flatMap(({ name, pid, tid, args }) => (name === "thread_name" ? [[`${pid} ${tid}`, args?.name ?? ""]] : [])),
  );
  const cpuMs = new Map<string, number>();
  for (const { name, ph, pid, tid, tdur } of events) {
    if (ph !== "X" || tdur === undefined || !name.endsWith("RunTask")) continue;
    const thread = (threads.get(`${pid} ${tid}`) ?? "other").replace(/\/.*|[0-9]+$/g, "");
    cpuMs.set(thread, (cpuMs.get(thread) ?? 0) + tdur / 1000 / drawn.length);
  }
  return { drawn: drawn.length, seconds: spanUs / 1e6, cpuMs };
}
