import type { Probe, ProbeStream } from "@dyetrace/locate";
import type { SiteGraph } from "@dyetrace/site";
import { formatRateBps, type ScenarioStream } from "@dyetrace/wire";

/** Enough to tell silence from loss within a few seconds, and little for any link (our choice, no source). */
export const PROBE_PACKETS_PER_SECOND = 20;
const HIGHEST_PORT = 65_535;
const SETTLE_SECONDS = 2;
const SEND_SECONDS = 6;

export const probeRateBps = (payloadBytes: number): number => payloadBytes * 8 * PROBE_PACKETS_PER_SECOND;

/** The probe as a scenario file. Joins come first, so that memberships have settled when the first packet is sent. */
export function writeProbeScenario({ streams }: Probe, like: ScenarioStream, graph: SiteGraph, about: string): string {
  const agentOf = (host: string): string => graph.nodes.get(host)?.agent ?? host;
  const lines = streams.map((stream, at) => {
    const fields = {
      name: nameOf(at),
      source: agentOf(stream.source),
      group: stream.group,
      // Streams of one group are told apart by their ports.
      port: like.port + at > HIGHEST_PORT ? like.port - at : like.port + at,
      rate: `${probeRateBps(stream.payloadBytes)} bit/s`,
      payload: `${stream.payloadBytes} B`,
      ttl: like.ttl,
      dscp: like.dscp,
      ssm: stream.isSourceSpecific,
    };
    return `  - ${JSON.stringify(fields)}`;
  });
  const joins = streams.map(
    (stream, at) =>
      `  - ${JSON.stringify({ at: "0s", join: nameOf(at), agents: stream.listeners.map((host) => agentOf(host)) })}`,
  );
  const names = JSON.stringify(streams.map((_, at) => nameOf(at)));
  return `scenario: probe
about: ${JSON.stringify(about)}
streams:
${lines.join("\n")}
timeline:
${joins.join("\n")}
  - { at: ${SETTLE_SECONDS}s, emit: ${names} }
  - { at: ${SETTLE_SECONDS + SEND_SECONDS}s, stop: ${names} }
`;
}

const nameOf = (at: number): string => `probe-${at + 1}`;

/** What is sent, a sentence each; the first stream repeats what failed. */
export function sayProbe({ streams }: Probe): string[] {
  const total = streams.reduce((sum, { payloadBytes }) => sum + probeRateBps(payloadBytes), 0);
  return [
    ...streams.map(
      (stream, at) =>
        `${stream.source} sends to ${stream.group}, ${PROBE_PACKETS_PER_SECOND} packets of ${stream.payloadBytes} B a second (${formatRateBps(probeRateBps(stream.payloadBytes))}); ${sayListeners(stream)}${at === 0 ? ". This repeats what failed" : ""}`,
    ),
    `It sends for ${SEND_SECONDS} s, ${SETTLE_SECONDS} s after the joins, ${formatRateBps(total)} in all`,
  ];
}

const MOST_NAMES = 6;

function sayListeners({ listeners }: ProbeStream): string {
  const rest = listeners.length - MOST_NAMES;
  const names = rest > 0 ? [...listeners.slice(0, MOST_NAMES), `${rest} more`] : listeners;
  const list = names.length < 2 ? names.join("") : `${names.slice(0, -1).join(", ")} and ${names.at(-1)}`;
  return `${list} ${listeners.length === 1 ? "listens" : "listen"}`;
}
