import { type AgentMessage, Fault } from "@dyetrace/wire";
import { UpgradeAnswerSchema } from "@dyetrace/wire/console/console-agent";
import type { FastifyInstance } from "fastify";
import { agentPackage, packageStatement } from "../access/agent-package.ts";
import type { AgentRegistry } from "./agent-registry.ts";

type UpgradeAnswer = Extract<AgentMessage, { readonly kind: "upgrade-answer" }>;

/** An agent fetches about 10 MB and unpacks them. */
const ANSWER_WITHIN_MS = 120_000;
/** Since this protocol an agent knows what an upgrade is. */
const UPGRADES_SINCE = 3;

/** `POST /api/agents/:name/upgrade`: brings an agent to the controller's own version. */
export function registerUpgrade(app: FastifyInstance, registry: AgentRegistry): void {
  app.post<{ Params: { name: string } }>(
    "/api/agents/:name/upgrade",
    { schema: { summary: "Upgrades an agent, where its host allows it", response: { 200: UpgradeAnswerSchema } } },
    async (request) => {
      const { name } = request.params;
      const session = registry.find(name);
      if (session === undefined) throw new Fault("AGENT_MISSING", `No agent ${name} is connected`, "");
      if (session.protocol < UPGRADES_SINCE) {
        throw new Fault(
          "UPGRADE_REFUSED",
          `Agent ${name} (version ${session.version}) is too old to be upgraded from here`,
          "Paste the line for new agents on its host",
        );
      }
      if (!session.allowsUpgrade) {
        throw new Fault(
          "UPGRADE_REFUSED",
          `The host of ${name} lets no controller upgrade its agent`,
          "Set allow-upgrade in its /etc/dyetrace/agent.yaml, or paste the line for new agents there",
        );
      }
      const { version, sha256 } = agentPackage();
      packageStatement(); // before the agent is asked: without one it takes none
      const answered = new Promise<UpgradeAnswer>((resolve, reject) => {
        const stop = (): void => {
          clearTimeout(timer);
          registry.off("upgradeAnswer", onAnswer);
        };
        const onAnswer: Parameters<typeof registry.on<"upgradeAnswer">>[1] = (from, answer) => {
          if (from.name !== name) return;
          stop();
          resolve(answer);
        };
        const timer = setTimeout(() => {
          stop();
          reject(new Fault("UPGRADE_REFUSED", `Agent ${name} did not say what became of its upgrade`, "Look there"));
        }, ANSWER_WITHIN_MS);
        registry.on("upgradeAnswer", onAnswer);
      });
      session.send({ kind: "upgrade", version, sha256 });
      const { isDone, message, hint } = await answered;
      if (!isDone) throw new Fault("UPGRADE_REFUSED", message, hint);
      return { version, message };
    },
  );
}
