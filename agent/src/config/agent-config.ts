import {
  AgentFileSchema,
  checkAgainstSchema,
  DEFAULT_GUARDS,
  FileMistakes,
  type Guards,
  readYamlDocument,
} from "@dyetrace/wire";
import { guardsOfFile } from "./guards-of-file.ts";

/** Where an installed agent's own file lies. */
export const DEFAULT_CONFIG_FILE = "/etc/dyetrace/agent.yaml";
/** Where an agent keeps its data unless --data says otherwise. The launcher, bin/dyetrace-agent.mjs, has the same. */
export const DEFAULT_DATA_FOLDER = "dyetrace-agent-data";

/** What the host's own file says. No controller can change or exceed it. */
export interface AgentConfig {
  /** Whom to ask about this host's test traffic; stands in every packet. */
  readonly contact: string;
  /** The interface to the tested network; null: the only one there is. */
  readonly interfaceName: string | null;
  /** Whether this host announces itself to the device that it hangs on. */
  readonly announces: boolean;
  /** Whether its controller may replace this agent's program: whoever may do that is bound by no guard. */
  readonly allowsUpgrade: boolean;
  /** Whose packages may replace it: raw Ed25519 public keys, base64. */
  readonly upgradeKeys: readonly string[];
  /** Whether an older version may. */
  readonly allowsDowngrade: boolean;
  /** Controllers of one estate, beside the one where this host was enrolled. */
  readonly controllers: readonly { readonly url: string; readonly pin: string | null }[];
  readonly guards: Guards;
  /** False: the file is silent, and companions go to the subnets of the tested interface. */
  readonly namesCompanionHosts: boolean;
}

export const DEFAULT_CONFIG: AgentConfig = {
  contact: "",
  interfaceName: null,
  announces: false,
  allowsUpgrade: false,
  upgradeKeys: [],
  allowsDowngrade: false,
  controllers: [],
  guards: DEFAULT_GUARDS,
  namesCompanionHosts: false,
};

/** @throws {Fault} AGENT_CONFIG_INVALID with the place of the first mistake */
export function loadAgentConfig(text: string | Uint8Array, file: string): AgentConfig {
  const document = readYamlDocument(text, file, "AGENT_CONFIG_INVALID");
  const data = checkAgainstSchema(document, AgentFileSchema);
  const mistakes = new FileMistakes(document);
  const own = data.guards ?? {};
  const guards = guardsOfFile(own, mistakes);
  mistakes.throwIfAny();
  return {
    contact: data.contact ?? "",
    interfaceName: data.interface ?? null,
    announces: data.announce ?? false,
    allowsUpgrade: data["allow-upgrade"] ?? false,
    upgradeKeys: data["upgrade-keys"] ?? [],
    allowsDowngrade: data["allow-downgrade"] ?? false,
    controllers: (data.controllers ?? []).map(({ address, pin = null }) => ({ url: address, pin })),
    guards,
    namesCompanionHosts: own["companion-hosts"] !== undefined,
  };
}
