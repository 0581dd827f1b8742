import https from "node:https";
import { http, PinnedAgent } from "@dyetrace/pin";
import { Fault, faultCodeOf } from "@dyetrace/wire";

/** A controller as this host knows it. */
export interface KnownController {
  readonly url: string;
  /** Null: its certificate must be signed by somebody whom this host trusts, or it answers without TLS. */
  readonly pin: string | null;
}

const WITHIN_MS = 60_000;
/** The package of the agent is about 10 MB. */
const MOST_BYTES = 64 * 1024 * 1024;

/**
 * One request to the controller. @param body JSON; none for a GET
 * @throws {Fault} the controller's own refusal, CERTIFICATE_STRANGE, CONTROLLER_UNREACHABLE
 */
export async function askController(to: KnownController, path: string, body?: object): Promise<Buffer> {
  const url = new URL(path, to.url);
  const isTls = url.protocol === "https:";
  const text = body === undefined ? null : JSON.stringify(body);
  const options = {
    method: text === null ? "GET" : "POST",
    timeout: WITHIN_MS,
    headers: text === null ? {} : { "content-type": "application/json", "content-length": Buffer.byteLength(text) },
    ...(isTls && to.pin !== null ? { agent: new PinnedAgent(to.pin) } : {}),
  };
  const { status, bytes } = await new Promise<{ status: number; bytes: Buffer }>((resolve, reject) => {
    const request = (isTls ? https : http).request(url, options, (response) => {
      const parts: Buffer[] = [];
      let size = 0;
      response.on("data", (part: Buffer) => {
        parts.push(part);
        size += part.length;
        if (size > MOST_BYTES) request.destroy(new Error("it answered with more than any answer has"));
      });
      response.on("error", reject);
      response.on("end", () => resolve({ status: response.statusCode ?? 0, bytes: Buffer.concat(parts) }));
    });
    request.on("timeout", () => request.destroy(new Error("no answer in time")));
    request.on("error", reject);
    request.end(text ?? undefined);
  }).catch((cause: unknown) => {
    if (cause instanceof Fault) throw cause;
    const why = (cause as NodeJS.ErrnoException).code ?? (cause as Error).message;
    throw new Fault("CONTROLLER_UNREACHABLE", `The controller at ${to.url} cannot be asked: ${why}`, hintOf(why), {
      cause,
    });
  });
  if (status >= 200 && status < 300) return bytes;
  throw refusalOf(status, bytes);
}

const hintOf = (why: string): string =>
  /CERT|SELF_SIGNED|UNABLE_TO_VERIFY/.test(why)
    ? "Give its fingerprint with --pin, or have this host trust who signed its certificate"
    : "See that it runs and that its port is open to this host";

function refusalOf(status: number, bytes: Buffer): Fault {
  try {
    const { code, message, hint } = JSON.parse(bytes.toString("utf8")) as {
      code: string;
      message: string;
      hint: string;
    };
    return new Fault(faultCodeOf(code), message, hint);
  } catch {
    return new Fault("MESSAGE_INVALID", `What answers there is no controller of ours: it answered ${status}`, "");
  }
}
