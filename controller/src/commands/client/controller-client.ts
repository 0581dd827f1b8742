import { createWriteStream } from "node:fs";
import type { IncomingMessage } from "node:http";
import https from "node:https";
import { json, text } from "node:stream/consumers";
import { pipeline } from "node:stream/promises";
import { http, PinnedAgent } from "@dyetrace/pin";
import { Fault, type FilePlace, faultCodeOf, type RunProgress, type RunRequest } from "@dyetrace/wire";
import { API_ROUTES, type ApiAnswer, type ApiName } from "@dyetrace/wire/console/api-routes";
import { isLoopbackName } from "../../about/loopback.ts";
import { type SignIn, signInOf } from "./sign-ins.ts";

const KEEP_ALIVE_MS = 15_000;

/** What a question needs beside the route's name. */
export interface Asked {
  /** What stands in the place of the path's parameters. */
  readonly path?: Readonly<Record<string, string>>;
  readonly query?: Readonly<Record<string, string | number>>;
  readonly body?: object;
}

/** The operator's side of the HTTP interface. */
export class ControllerClient {
  readonly #url: string;
  readonly #signIn: SignIn;

  /**
   * @param url for example http://127.0.0.1:8472
   * @param signIn by default what the environment holds or `dyetrace sign-in` has kept for this controller
   * @throws {Fault} OPTION_INVALID where a token would travel in clear
   */
  constructor(url: string, signIn: SignIn = signInOf(url)) {
    if (signIn.token !== null) refuseInClear(url);
    this.#url = url;
    this.#signIn = signIn;
  }

  /** @returns the run's id @throws {Fault} the controller's own, or CONTROLLER_UNREACHABLE */
  async startRun(request: RunRequest): Promise<string> {
    return (await this.ask("startRun", { body: request })).runId;
  }

  async abortRun(runId: string): Promise<void> {
    await this.ask("stopRun", { path: { id: runId } });
  }

  /** @returns what the route declares @throws {Fault} the controller's own, or CONTROLLER_UNREACHABLE */
  async ask<Name extends ApiName>(name: Name, { path = {}, query = {}, body }: Asked = {}): Promise<ApiAnswer<Name>> {
    const { method, path: form } = API_ROUTES[name];
    const filled = form.replace(/:(\w+)/g, (_, key: string) => encodeURIComponent(path[key] ?? ""));
    const asked = new URLSearchParams(
      Object.entries(query).map(([key, value]): [string, string] => [key, String(value)]),
    ).toString();
    return (await this.#json(method, asked === "" ? filled : `${filled}?${asked}`, body)) as ApiAnswer<Name>;
  }

  /** @throws {Fault} the controller's own, or CONTROLLER_UNREACHABLE where the connection breaks in the middle */
  async *followRun(runId: string): AsyncGenerator<RunProgress> {
    const response = await this.#call("GET", `/api/runs/${encodeURIComponent(runId)}/progress`);
    response.socket.setKeepAlive(true, KEEP_ALIVE_MS); // a machine that lost its power says no farewell
    let pending = "";
    response.setEncoding("utf8");
    try {
      for await (const chunk of response as AsyncIterable<string>) {
        pending += chunk;
        const lines = pending.split("\n");
        pending = lines.pop() ?? "";
        for (const line of lines) if (line !== "") yield JSON.parse(line) as RunProgress;
      }
    } catch (cause) {
      throw brokenOff(this.#url, cause);
    }
  }

  async get(path: string): Promise<unknown> {
    return this.#json("GET", path);
  }

  /** Writes an answer to a new file, which only its owner may read. @throws {Fault} CONTROLLER_UNREACHABLE; the system's error where it can't be written */
  async download(path: string, file: string): Promise<void> {
    const response = await this.#call("GET", path);
    try {
      await pipeline(response, createWriteStream(file, { flags: "wx", mode: 0o600 }));
    } catch (cause) {
      if (response.complete) throw cause;
      throw brokenOff(this.#url, cause);
    }
  }

  async #json(method: string, path: string, body?: object): Promise<unknown> {
    const response = await this.#call(method, path, body);
    try {
      return await json(response);
    } catch (cause) {
      throw brokenOff(this.#url, cause);
    }
  }

  async #call(method: string, path: string, body?: object): Promise<IncomingMessage> {
    const url = new URL(path, this.#url);
    const { pin, token } = this.#signIn;
    const content = body === undefined ? null : JSON.stringify(body);
    const headers = {
      ...(content === null ? {} : { "content-type": "application/json", "content-length": Buffer.byteLength(content) }),
      ...(token === null ? {} : { authorization: `Bearer ${token}` }),
    };
    const isTls = url.protocol === "https:";
    const agent = isTls && pin !== null ? { agent: new PinnedAgent(pin) } : { agent: false as const };
    const response = await new Promise<IncomingMessage>((resolve, reject) => {
      const request = (isTls ? https : http).request(url, { method, headers, ...agent }, resolve);
      request.on("error", reject);
      request.end(content ?? undefined);
    }).catch((cause: unknown) => {
      if (cause instanceof Fault) throw cause;
      throw unreachable(this.#url, cause as NodeJS.ErrnoException);
    });
    const { statusCode = 0 } = response;
    if (statusCode >= 200 && statusCode < 300) return response;
    throw faultOf(statusCode, await text(response).catch(() => ""));
  }
}

/** What opens a controller goes over TLS, or stays on this machine. @throws {Fault} OPTION_INVALID */
export function refuseInClear(url: string): void {
  const { protocol, hostname } = new URL(url);
  if (protocol === "https:" || isLoopbackName(hostname)) return;
  throw new Fault(
    "OPTION_INVALID",
    `A token or password would travel in clear to ${url}`,
    "Write https:// in its place",
  );
}

const brokenOff = (url: string, cause: unknown): Fault =>
  new Fault(
    "CONTROLLER_UNREACHABLE",
    `The controller at ${url} broke off in the middle of its answer`,
    "See whether it was restarted, and look at its log",
    { cause },
  );

function unreachable(url: string, cause: NodeJS.ErrnoException): Fault {
  if (/CERT|SELF_SIGNED|UNABLE_TO_VERIFY/.test(cause.code ?? "")) {
    return new Fault(
      "CERTIFICATE_STRANGE",
      `This machine does not know who signed the certificate of ${url} (${cause.code})`,
      "Give its fingerprint with --pin, or once: `dyetrace sign-in NAME --controller URL --pin sha256//…`",
      { cause },
    );
  }
  return new Fault(
    "CONTROLLER_UNREACHABLE",
    `No controller answers at ${url}`,
    "Start one with `npx dyetrace controller`, or name another with --controller URL",
    { cause },
  );
}

/** What a controller refused, as its answer tells. */
export function faultOf(status: number, answer: string): Fault {
  try {
    const { code, message, hint, place } = JSON.parse(answer) as {
      code: string;
      message: string;
      hint: string;
      place?: FilePlace | null;
    };
    return new Fault(faultCodeOf(code), message, hint, place === null || place === undefined ? {} : { place });
  } catch {
    return new Fault("CONTROLLER_UNREACHABLE", `The controller answered ${status}: ${answer.slice(0, 200)}`, "");
  }
}
