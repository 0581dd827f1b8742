import { Readable } from "node:stream";
import type { Observations } from "@dyetrace/site";
import { Fault } from "@dyetrace/wire";
import {
  type DrawEvent,
  DrawEventSchema,
  type DrawnPlan,
  type PlanToDraw,
  PlanToDrawSchema,
} from "@dyetrace/wire/console/plan-draw";
import type { DeviceReading } from "@dyetrace/wire/devices/device-reading";
import type { FastifyInstance } from "fastify";
import type { AgentRegistry } from "../agents/agent-registry.ts";
import { NOBODY } from "../audit/audit-log.ts";
import type { Asker, DeviceDesk } from "../devices/device-desk.ts";
import { JSON_LINES, linesOf } from "../runs/json-lines.ts";
import type { PlanDesk } from "./plan-desk.ts";

interface DrawingSetup {
  readonly registry: AgentRegistry;
  readonly devices: DeviceDesk;
  readonly desk: PlanDesk;
  /** Of the plan that there is. */
  readonly site: () => string | null;
}

/** Devices that are read at once: those that hang on the same line answer no sooner for being asked together. */
const AT_ONCE = 4;

/** Draws the site by what agents hear and devices say, and tells how far it is. Nothing is kept: the written plan is the master. */
export function registerPlanDrawing(app: FastifyInstance, setup: DrawingSetup): void {
  let isDrawing = false;
  app.post<{ Body: PlanToDraw }>(
    "/api/console/plan-draw",
    {
      schema: {
        summary: "Draws the site's plan by what agents hear and devices say, a JSON object a line; nothing is kept",
        body: PlanToDrawSchema,
        response: linesOf(DrawEventSchema),
      },
    },
    (request, reply) => {
      if (isDrawing) throw new Fault("TOO_MANY", "The site is being drawn already", "Wait until that has ended");
      isDrawing = true;
      const lines = new Readable({ read: () => {} });
      // Whoever goes away leaves the readings to their end: they are bounded in time.
      const tell = (event: DrawEvent): void => {
        if (!lines.destroyed) lines.push(`${JSON.stringify(event)}\n`);
      };
      const asker = { who: request.operator?.name ?? NOBODY, from: request.ip };
      void draw(setup, request.body, asker, tell)
        .then(tell, (error: unknown) => tell(failed(error)))
        .finally(() => {
          isDrawing = false;
          if (!lines.destroyed) lines.push(null);
        });
      return reply.headers({ "content-type": JSON_LINES, "cache-control": "no-store" }).send(lines);
    },
  );
}

async function draw(
  { registry, devices, desk, site }: DrawingSetup,
  { updates }: PlanToDraw,
  asker: Asker,
  tell: (event: DrawEvent) => void,
): Promise<DrawnPlan> {
  const hosts = registry.list().flatMap(({ name: agent }) => {
    const known = registry.surroundings.get(agent);
    if (known === undefined) return [];
    return [{ agent, toldAgoMs: Math.max(0, Date.now() - known.atMs), surroundings: known.surroundings }];
  });
  const readings = await readAll(devices, asker, tell);
  const deaf = hosts.filter(({ surroundings }) => surroundings.announcements === null).map(({ agent }) => agent);
  if (deaf.length > 0) tell({ kind: "unread", says: `These agents cannot hear announcements: ${deaf.join(", ")}` });
  if (hosts.length === 0 && readings.length === 0) {
    throw new Fault(
      "AGENT_MISSING",
      "Nothing was seen of the site: no agent has told of its surroundings, and no device was read",
      "Connect agents, wait a few seconds, and add switches on the page Switches",
    );
  }
  const observations: Observations = { hosts, readings };
  return desk.ask<DrawnPlan>({ kind: "draw", observations, site: site() ?? "Drawn site", updates });
}

/** In the order of their names, whichever answers first: the same site is drawn the same way. */
async function readAll(
  devices: DeviceDesk,
  asker: Asker,
  tell: (event: DrawEvent) => void,
): Promise<readonly DeviceReading[]> {
  const all = devices.list();
  const readings = new Map<string, DeviceReading>();
  let done = 0;
  tell({ kind: "reading", done, of: all.length });
  const queue = all.values();
  const worker = async (): Promise<void> => {
    for (const { node } of queue) {
      try {
        const reading = await devices.read(node, "all", asker);
        if (reading.ports !== null || reading.neighbours !== null) readings.set(node, reading);
        else tell({ kind: "unread", says: reading.unread[0]?.why ?? `${node} could not be read.` });
      } catch (error) {
        if (!(error instanceof Fault)) throw error;
        tell({ kind: "unread", says: `${node} could not be read: ${error.message}.` });
      }
      tell({ kind: "reading", done: ++done, of: all.length });
    }
  };
  await Promise.all(Array.from({ length: AT_ONCE }, worker));
  return all.flatMap(({ node }) => readings.get(node) ?? []);
}

function failed(error: unknown): DrawEvent {
  if (!(error instanceof Fault)) return { kind: "failed", code: "INTERNAL", message: String(error), hint: "" };
  const { code, message, hint } = error;
  return { kind: "failed", code, message, hint };
}
