import { existsSync, readFileSync } from "node:fs";
import { cannotRead } from "@dyetrace/wire/command-line/file-fault";
import { type AgentConfig, DEFAULT_CONFIG, DEFAULT_CONFIG_FILE, loadAgentConfig } from "./agent-config.ts";

/**
 * @param file what `--config` named; without it the installed file is read, and where there is none, sending is off
 * @throws {Fault} FILE_UNREADABLE, AGENT_CONFIG_INVALID
 */
export function readAgentConfig(file: string | undefined): AgentConfig {
  if (file === undefined && !existsSync(DEFAULT_CONFIG_FILE)) return DEFAULT_CONFIG;
  const path = file ?? DEFAULT_CONFIG_FILE;
  let bytes: Buffer;
  try {
    bytes = readFileSync(path);
  } catch (cause) {
    throw cannotRead(path, cause);
  }
  return loadAgentConfig(bytes, path);
}
