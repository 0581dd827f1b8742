import { Fault } from "@dyetrace/wire";
import { askController, type KnownController } from "./ask-controller.ts";
import { type Credential, keepCredential, parseIssued } from "./credential-file.ts";

/** What a key begins with that works once and brings a credential; any other is taken as it is. */
export const isEnrolKey = (key: string): boolean => key.startsWith("enrol-");

/**
 * Gives the key away for a credential of this host's own, and keeps that.
 * @throws {Fault} NOT_AUTHORISED for a key that was used or has run out; see `askController`
 */
export async function enrolHost(
  controller: KnownController,
  key: string,
  name: string,
  folder: string,
): Promise<Credential> {
  const bytes = await askController(controller, "/agent/enrol", { key, name });
  let answer: unknown;
  try {
    answer = JSON.parse(bytes.toString("utf8"));
  } catch (cause) {
    throw new Fault("MESSAGE_INVALID", `What answers at ${controller.url} is no controller of ours`, "", { cause });
  }
  const { credential, until, others } = parseIssued(answer);
  const more = { ...(until === undefined ? {} : { until }), ...(others === undefined ? {} : { others }) };
  const kept = { controller: controller.url, pin: controller.pin, name, credential, ...more };
  keepCredential(folder, kept);
  return kept;
}
