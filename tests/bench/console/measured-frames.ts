import type { Page } from "playwright-core";

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
 * What the compositor drew, from the browser's own trace.
 * @param meanwhile what is done on the page
 * @returns a sentence of figures
 */
export async function measuredFrames(page: Page, meanwhile: () => Promise<unknown>): Promise<string> {
  const session = await page.context().newCDPSession(page);
  const events: TraceEvent[] = [];
  session.on("Tracing.dataCollected", ({ value }) => {
    events.push(...(value as unknown as TraceEvent[]));
  });
  const complete = new Promise<void>((resolve) => session.once("Tracing.tracingComplete", () => resolve()));
  await session.send("Tracing.start", {
    transferMode: "ReportEvents",
    traceConfig: { includedCategories: [...FRAME_EVENTS, ...TASK_EVENTS] },
  });
  await meanwhile();
  await session.send("Tracing.end");
  await complete;
  await session.detach();
  const drawnUs = events
    .filter(({ name }) => name === "DrawFrame")
    .map(({ ts }) => ts)
    .sort((a, b) => a - b);
  const frameMs = drawnUs
    .slice(1)
    .map((at, index) => (at - (drawnUs[index] ?? at)) / 1000)
    .sort((a, b) => a - b);
  if (frameMs.length === 0) return "no frames";
  const at = (share: number): string =>
    (frameMs[Math.min(frameMs.length - 1, Math.floor(share * frameMs.length))] ?? Number.NaN).toFixed(1);
  const spanMs = frameMs.reduce((sum, ms) => sum + ms, 0);
  return [
    `${((1000 * frameMs.length) / spanMs).toFixed(1)} frames/s, frame time p50 ${at(0.5)} ms, p95 ${at(0.95)} ms`,
    `longest ${at(1)} ms`,
    `longest task of the page ${longestTaskMs(events).toFixed(0)} ms`,
    `processor time a frame: ${taskWords(events, drawnUs.length)}`,
  ].join(", ");
}

const threadsOf = (events: readonly TraceEvent[]): ReadonlyMap<string, string> =>
  new Map(
    events.flatMap(({ name, pid, tid, args }) => (name === "thread_name" ? [[`${pid} ${tid}`, args?.name ?? ""]] : [])),
  );

/** In processor time: what one redraw of the page costs at most. */
function longestTaskMs(events: readonly TraceEvent[]): number {
  const threads = threadsOf(events);
  const isPage = ({ pid, tid }: TraceEvent): boolean => threads.get(`${pid} ${tid}`) === "CrRendererMain";
  const tasksMs = events.flatMap((one) =>
    one.name.endsWith("RunTask") && one.tdur !== undefined && isPage(one) ? one.tdur / 1000 : [],
  );
  return tasksMs.reduce((longest, ms) => Math.max(longest, ms), 0);
}

/** Processor time of the browser's threads for each frame; other programs on the machine don't count. */
function taskWords(events: readonly TraceEvent[], frames: number): string {
  const threads = threadsOf(events);
  const cpuMs = new Map<string, number>();
  for (const { name, ph, pid, tid, tdur } of events) {
    if (ph !== "X" || tdur === undefined || !name.endsWith("RunTask")) continue;
    const thread = (threads.get(`${pid} ${tid}`) ?? "other").replace(/\/.*|[0-9]+$/g, "");
    cpuMs.set(thread, (cpuMs.get(thread) ?? 0) + tdur / 1000 / frames);
  }
  return [...cpuMs]
    .filter(([, ms]) => ms > 0.3)
    .sort((a, b) => b[1] - a[1])
    .map(([name, ms]) => `${name} ${ms.toFixed(1)} ms`)
    .join(", ");
}
