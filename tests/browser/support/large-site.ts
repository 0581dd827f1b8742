/** Sizes of the large site: 1 + 5 + 30 switches and 264 hosts make 300 nodes. */
const DISTRIBUTION = 5;
const ACCESS = 30;
const HOSTS = 264;
const SOURCES = 4;
export const LISTENERS = 100;
export const STREAMS = 20;

/** A plan of 300 nodes with agents on 104 of its hosts: four sources and a hundred listeners. */
export function largePlan(): string {
  const hosts = Array.from({ length: HOSTS }, (_, index) => hostName(index));
  return [
    "site: Quillfen Harbour, all of it",
    "nodes:",
    "  core: { kind: switch, querier: true }",
    ...range(DISTRIBUTION).map((index) => `  dist-${index + 1}: { kind: switch }`),
    ...range(ACCESS).map((index) => `  floor-${index + 1}: { kind: switch }`),
    ...hosts.map((name, index) => `  ${name}: { kind: host${index < SOURCES + LISTENERS ? "" : ", agent: none"} }`),
    "links:",
    ...range(DISTRIBUTION).map(
      (index) => `  - { between: [core:${index + 1}, dist-${index + 1}:48], speed: 10 Gbit/s }`,
    ),
    ...range(ACCESS).map(
      (index) =>
        `  - { between: [dist-${(index % DISTRIBUTION) + 1}:${Math.floor(index / DISTRIBUTION) + 1}, floor-${index + 1}:48], speed: 1 Gbit/s }`,
    ),
    ...hosts.map((name, index) =>
      index < SOURCES
        ? `  - core:${index + 20} -- ${name}:eth0`
        : `  - floor-${(index % ACCESS) + 1}:${Math.floor(index / ACCESS) + 1} -- ${name}:eth0`,
    ),
    "",
  ].join("\n");
}

export const sourceNames = (): string[] => range(SOURCES).map(hostName);
export const listenerNames = (): string[] => range(LISTENERS).map((index) => hostName(index + SOURCES));

/** Twenty streams, five from each source, that every listener joins. */
export const largeScenario = (seconds: number): string =>
  [
    "scenario: everything at once",
    "streams:",
    ...range(STREAMS).map(
      (index) =>
        `  - { name: s-${index + 1}, source: ${hostName(index % SOURCES)}, group: 239.195.30.${index + 1}, rate: 2 Mbit/s }`,
    ),
    "timeline:",
    `  - { at: 0s, join: all, agents: [${listenerNames().join(", ")}] }`,
    "  - { at: 1s, emit: all }",
    `  - { at: ${seconds}s, stop: all }`,
    "",
  ].join("\n");

const hostName = (index: number): string => (index < SOURCES ? `source-${index + 1}` : `screen-${index + 1 - SOURCES}`);
const range = (length: number): number[] => Array.from({ length }, (_, index) => index);
