import { orUnknown } from "@dyetrace/picture";
import { formatCount, formatDurationNs, formatRateBps } from "@dyetrace/wire";
import type { ConsoleAgent, EnrolledAgent } from "@dyetrace/wire/console/console-agent";
import { version } from "../state/console-state.ts";
import { AgentCare } from "./agent-care.tsx";
import { AgentGuards } from "./agent-guards.tsx";
import { CredentialCare } from "./credential-care.tsx";
import { credentialWords } from "./credential-words.ts";
import { type RankedAgent, sayChecks } from "./rank-agents.ts";

/** What one connected agent is, may do and can see; its name stands above it. */
export function AgentCard(props: {
  readonly ranked: RankedAgent;
  /** Null where it has no credential of its own; undefined where the controller has not said yet. */
  readonly enrolled: EnrolledAgent | null | undefined;
  readonly onDone: () => void;
}) {
  const { ranked, enrolled } = props;
  const { agent, checks, troubles } = ranked;
  const { capabilities, clock } = agent;
  return (
    <>
      <dl class="figures">
        <dt>interface</dt>
        <dd>
          {capabilities.interface.name}
          {capabilities.interface.ipv4 !== null && `, ${capabilities.interface.ipv4}`}
        </dd>
        <dt>link</dt>
        <dd>
          {capabilities.interface.speedBps === null ? "speed unknown" : formatRateBps(capabilities.interface.speedBps)}
          {capabilities.interface.mtuBytes !== null && `, MTU ${capabilities.interface.mtuBytes}`}
          {capabilities.interface.isWireless === true && ", wireless"}
          {capabilities.interface.wifi !== undefined && `, ${sayWifi(capabilities.interface.wifi)}`}
        </dd>
        <dt>host</dt>
        <dd>
          {capabilities.platform} {capabilities.osRelease}, {capabilities.architecture}, Node {capabilities.nodeVersion}
        </dd>
        <dt>receive buffer</dt>
        <dd>{orUnknown(capabilities.receiveBufferBytes, (bytes) => `${formatCount(Math.round(bytes / 1024))} KiB`)}</dd>
        <dt>clock</dt>
        <dd>
          {clock === null
            ? "not compared yet: the next run does"
            : `known within ${formatDurationNs(clock.uncertaintyNs)}`}
        </dd>
        <dt>version</dt>
        <dd>{agent.version}</dd>
        <dt>credential</dt>
        <dd>{credentialWords(enrolled)}</dd>
      </dl>
      <AgentGuards guards={capabilities.guards} />
      <AgentCare agent={agent} controllerVersion={version.value} />
      {enrolled != null && <CredentialCare enrolled={enrolled} onDone={props.onDone} />}
      <details open={troubles.length > 0 && troubles.length <= 2}>
        <summary>{sayChecks(ranked)}</summary>
        <ul class="checks">
          {checks.map(({ name, status, says }) => (
            <li key={name} class={status}>
              <span class="sign" aria-hidden="true">
                {status === "good" ? "●" : status === "limits" ? "◐" : "○"}
              </span>
              <span>
                {name}: {says}
              </span>
            </li>
          ))}
        </ul>
      </details>
    </>
  );
}

type WifiFacts = NonNullable<ConsoleAgent["capabilities"]["interface"]["wifi"]>;

/** Where it was on the air when it began. */
function sayWifi({ bssid, frequencyMhz, widthMhz, signalDbm, txRateBps }: WifiFacts): string {
  if (bssid === null) return "at no access point when it began";
  const known = [
    ...(frequencyMhz === null ? [] : [`${frequencyMhz} MHz`]),
    ...(widthMhz === null ? [] : [`${widthMhz} MHz wide`]),
    ...(signalDbm === null ? [] : [`${signalDbm} dBm`]),
    ...(txRateBps === null ? [] : [`sends at ${formatRateBps(txRateBps)}`]),
  ];
  return [`at ${bssid} when it began`, ...known].join(", ");
}
