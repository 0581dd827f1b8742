import type { Page } from "playwright-core";

/** What the compositor drew for a while. */
export interface Frames {
  readonly drawn: number;
  /** Frames a second, and where it was measured the processor time of the page's threads for each. */
  readonly words: string;
}

/**
 * Frames are measured for seconds only by hand: `DYETRACE_FRAMES=1 npm run browser -- FILE`. Every task of the browser is
 * then told to the test, which takes longer than the page needs. Otherwise it is seen for a moment that frames are drawn.
 */
const IS_MEASURED = process.env["DYETRACE_FRAMES"] === "1";
const TRACED_MS = IS_MEASURED ? 5000 : 1000;
const FRAME_EVENTS = ["disabled-by-default-devtools.timeline.frame", "devtools.timeline.frame"];
const TASK_EVENTS = ["toplevel", "__metadata"];

interface TraceEvent {
  readonly name: string;
  readonly ph: string;
  readonly ts: number;
  readonly pid: number;
  readonly tid: number;
  readonly tdur?: number;
  readonly args?: { readonly name?: string };
}

/**
 * Counts the frames that the compositor drew, from the browser's own trace.
 * @param meanwhile what is done on the page for so many milliseconds
 */
export async function drawnFrames(page: Page, meanwhile?: (ms: number) => Promise<unknown>): Promise<Frames> {
  const session = await page.context().newCDPSession(page);
  const events: TraceEvent[] = [];
  session.on("Tracing.dataCollected", ({ value }) => {
    events.push(...(value as unknown as TraceEvent[]));
  });
  const complete = new Promise<void>((resolve) => session.once("Tracing.tracingComplete", () => resolve()));
  await session.send("Tracing.start", {
    transferMode: "ReportEvents",
    traceConfig: { includedCategories: [...FRAME_EVENTS, ...(IS_MEASURED ? TASK_EVENTS : [])] },
  });
  await (meanwhile?.(TRACED_MS) ?? new Promise((resolve) => setTimeout(resolve, TRACED_MS)));
  await session.send("Tracing.end");
  await complete;
  await session.detach();
  const drawn = events.filter(({ name }) => name === "DrawFrame").map(({ ts }) => ts);
  const seconds = (Math.max(...drawn) - Math.min(...drawn)) / 1e6;
  const rate = drawn.length < 2 ? "unknown" : ((drawn.length - 1) / seconds).toFixed(1);
  return { drawn: drawn.length, words: IS_MEASURED ? `${rate} (${taskWords(events, drawn.length)})` : rate };
}

/** Processor time of the page's threads for each frame; other programs on the machine don't count. */
function taskWords(events: readonly TraceEvent[], frames: number): string {
  const threads = new Map(
    events.flatMap(({ name, pid, tid, args }) => (name === "thread_name" ? [[`${pid} ${tid}`, args?.name ?? ""]] : [])),
  );
  const cpuMs = new Map<string, number>();
  for (const { name, ph, pid, tid, tdur } of events) {
    if (ph !== "X" || tdur === undefined || !name.endsWith("RunTask")) continue;
    const thread = (threads.get(`${pid} ${tid}`) ?? "other").replace(/\/.*|[0-9]+$/g, "");
    cpuMs.set(thread, (cpuMs.get(thread) ?? 0) + tdur / 1000 / frames);
  }
  const each = [...cpuMs]
    .filter(([, ms]) => ms > 0.2)
    .sort((a, b) => b[1] - a[1])
    .map(([name, ms]) => `${name} ${ms.toFixed(1)} ms`);
  return `processor time a frame: ${each.join(", ")}`;
}
