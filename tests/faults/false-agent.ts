import { randomBytes } from "node:crypto";
import { StreamTracker } from "@dyetrace/measure";
import type { AgentMessage, AgentTask, IntervalReport } from "@dyetrace/wire";
import { helloOf, Stranger } from "./stranger.ts";

type Report = Extract<AgentMessage, { readonly kind: "report" }>;

/** What it makes of an honest report. */
export type Lie = (report: Report, second: number) => unknown;

const SECOND_NS = 1e9;
const PACKETS_PER_SECOND = 100;

/**
 * An agent that speaks the protocol as it should, hears nothing at all, and reports what it likes: packets that a real
 * tracker counted and nobody sent, after a lie was made of them.
 * @returns what the controller says when it has had enough, or null at the end of the run
 */
export async function playFalseAgent(
  at: { readonly url: string; readonly key: string; readonly name: string },
  lie: Lie,
): Promise<{ readonly hello: Stranger; readonly over: Promise<string | null> }> {
  const agent = await Stranger.at(at.url);
  agent.say(helloOf(at.name, at.key));
  await agent.hears("welcome");
  const asking = setInterval(() => {
    if (agent.socket.readyState === agent.socket.OPEN) agent.say({ kind: "clock-ask", id: 1 });
  }, 1000);
  const over = (async (): Promise<string | null> => {
    const { runId, task } = (await agent.hears("prepare", 60_000)) as unknown as { runId: string; task: AgentTask };
    agent.say({ kind: "prepared", runId, clock: null });
    await agent.hears("go", 60_000);
    const stint = randomBytes(8).toString("hex");
    const trackers = new Map(
      task.streams.map(({ streamId }) => [streamId, new StreamTracker({ mediaRateBps: 1e6, seesHostDrops: true })]),
    );
    let seq = 0;
    const seconds = Math.ceil(task.endNs / SECOND_NS);
    for (let second = 0; second < seconds; second++) {
      await new Promise((resolve) => setTimeout(resolve, 1000));
      const turnedAway = agent.heard.find(({ kind }) => kind === "turned-away");
      if (turnedAway !== undefined) return String(turnedAway["message"]);
      if (agent.heard.some(({ kind }) => kind === "abort")) return null;
      const isFinal = second === seconds - 1;
      const toNs = Math.min((second + 1) * SECOND_NS, task.endNs);
      for (let i = 0; i < PACKETS_PER_SECOND; i++, seq++) {
        const sentNs = second * SECOND_NS + i * 1e7;
        for (const tracker of trackers.values()) tracker.record(seq, sentNs, sentNs + 1e5, 1316, 4711, 1, 0);
      }
      const report = {
        ...reportOf(task, second, toNs, trackers),
        totals: isFinal ? { listeners: [], senders: [] } : null,
      } as unknown as IntervalReport;
      const numbers = { firstNumber: second + 1, lastNumber: second + 1, droppedReports: 0 };
      const message: Report = { kind: "report", runId, stint, ...numbers, report, watch: null, isFinal };
      agent.say(lie(message, second));
    }
    return null;
  })().finally(() => clearInterval(asking));
  return { hello: agent, over };
}

function reportOf(
  task: AgentTask,
  second: number,
  toNs: number,
  trackers: ReadonlyMap<number, StreamTracker>,
): Omit<IntervalReport, "totals"> {
  const joins = new Map(task.actions.filter(({ kind }) => kind === "join").map((one) => [one.streamId, one.atNs]));
  return {
    fromNs: second * SECOND_NS,
    toNs,
    listeners: [...joins].map(([streamId, atNs]) => ({
      streamId,
      receipt: trackers.get(streamId)?.[toNs === task.endNs ? "finish" : "cut"]() ?? null,
      memberships: [
        {
          joinRequestedNs: atNs,
          firstPacketNs: atNs,
          lastPacketNs: toNs,
          leaveRequestedNs: null,
        },
      ],
      hostLostPackets: 0,
      socketStreams: 1,
      foreign: {
        foreignPackets: 0,
        malformedPackets: 0,
        otherRunPackets: 0,
        otherStreamPackets: 0,
        misdirectedPackets: 0,
        sources: [],
      },
    })),
    senders: [],
    host: {
      udpRcvbufErrors: 0,
      udpInErrors: 0,
      udp6RcvbufErrors: 0,
      udp6InErrors: 0,
      interfaceRxDropped: 0,
      interfaceRxErrors: 0,
      interfaceTxDropped: 0,
      interfaceTxErrors: 0,
      softnetDropped: 0,
      linkChanges: 0,
      wallClockSteps: 0,
    },
    sourcesStopped: null,
  };
}
