import type { HostClock, LinkChange, RunObservations } from "@dyetrace/locate";
import { hostOfAgent, type SiteGraph } from "@dyetrace/site";
import type { RunAccount } from "../account/run-account.ts";
import { observeBystander } from "./observe-bystander.ts";
import { observeListener } from "./observe-listener.ts";
import { observeMembership } from "./observe-membership.ts";
import { observeStream } from "./observe-stream.ts";

/** The account of a run in the form that `locate` reasons from. Pure. */
export function observeRun(account: RunAccount, graph: SiteGraph): RunObservations {
  const { run, told, sources, stays, bystanders, seenAfterLeaves } = account;
  return {
    streams: run.streams.map((stream) =>
      observeStream(
        run,
        stream,
        sources.get(stream.name) ?? null,
        told.isAborted,
        account.agents.get(stream.source)?.sourceBreaks ?? [],
      ),
    ),
    listeners: stays.map((stay) => observeListener(stay, graph)),
    bystanders: [...bystanders, ...seenAfterLeaves].map((one) => observeBystander(one, graph)),
    ...observeMembership(account, graph),
    linkChanges: observeLinkChanges(account, graph),
    clocks: observeClocks(account, graph),
  };
}

/** In which intervals a host counted that its link went down or came up. */
const observeLinkChanges = ({ agents }: RunAccount, graph: SiteGraph): LinkChange[] =>
  [...agents.values()].flatMap(({ agent, linkChanges }) =>
    linkChanges.map(({ fromNs, toNs }) => ({
      host: hostOfAgent(graph, agent) ?? agent,
      fromMs: fromNs / 1e6,
      toMs: toNs / 1e6,
    })),
  );

/** Every instant that an agent tells was put on the controller's clock by this estimate. */
const observeClocks = ({ agents }: RunAccount, graph: SiteGraph): HostClock[] =>
  [...agents.values()].map(({ agent, clock }) => ({
    host: hostOfAgent(graph, agent) ?? agent,
    uncertaintyMs: clock === null ? null : clock.uncertaintyNs / 1e6,
  }));
