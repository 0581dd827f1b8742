/** One command to run inside a practice site. */
export interface Step {
  readonly argv: readonly string[];
  readonly stdin?: string;
}

/** Several `ip` commands at once; `namespace` null is the practice host's own. */
export const ipBatch = (namespace: string | null, lines: readonly string[]): Step => ({
  argv: ["ip", ...(namespace === null ? [] : ["-n", namespace]), "-batch", "-"],
  stdin: `${lines.join("\n")}\n`,
});

export const ip = (namespace: string, command: string): Step => ({
  argv: ["ip", "-n", namespace, ...command.split(" ")],
});
export const bridge = (namespace: string, command: string): Step => ({
  argv: ["bridge", "-n", namespace, ...command.split(" ")],
});
export const tc = (namespace: string, command: string): Step => ({
  argv: ["tc", "-n", namespace, ...command.split(" ")],
});

export const inside = (namespace: string, argv: readonly string[]): readonly string[] => [
  "ip",
  "netns",
  "exec",
  namespace,
  ...argv,
];

export const nft = (namespace: string, ruleset: string): Step => ({
  argv: inside(namespace, ["nft", "-f", "-"]),
  stdin: ruleset,
});

/** Writes kernel settings; one that this kernel does not have is passed over. @param settings path under /proc/sys to value */
export const sysctl = (namespace: string, settings: Readonly<Record<string, number>>): Step => ({
  argv: inside(namespace, [
    "sh",
    "-e",
    "-c",
    'while [ $# -gt 0 ]; do [ ! -e "/proc/sys/$1" ] || echo "$2" > "/proc/sys/$1"; shift 2; done',
    "sysctl",
    ...Object.entries(settings).flatMap(([path, value]) => [path, String(value)]),
  ]),
});
