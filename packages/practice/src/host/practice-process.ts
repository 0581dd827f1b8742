export interface SpawnOptions {
  readonly env?: Readonly<Record<string, string>>;
  readonly cwd?: string;
  readonly onLine?: (line: string, stream: "stdout" | "stderr") => void;
}

export interface ExecOptions {
  readonly stdin?: string;
  readonly env?: Readonly<Record<string, string>>;
}

export interface ExecResult {
  /** Null when a signal ended it. */
  readonly code: number | null;
  readonly stdout: string;
  readonly stderr: string;
}

export interface PracticeProcess {
  /** Inside the site's process namespace, not on this machine. */
  readonly pid: number;
  readonly exit: Promise<{ readonly code: number | null; readonly signal: string | null }>;
  /** To the process and all that it started. A process that has ended already is no error. */
  signal(name: NodeJS.Signals): void;
}
