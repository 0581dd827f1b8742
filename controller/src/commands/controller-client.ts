import { Fault, type FaultCode, type FilePlace, type RunProgress, type RunRequest } from "@dyetrace/wire";

/** The operator's side of the HTTP interface. */
export class ControllerClient {
  readonly #url: string;

  /** @param url for example http://127.0.0.1:8472 */
  constructor(url: string) {
    this.#url = url;
  }

  /** @returns the run's id @throws {Fault} the controller's own, or CONTROLLER_UNREACHABLE */
  async startRun(request: RunRequest): Promise<string> {
    const response = await this.#call("POST", "/api/runs", request);
    return ((await response.json()) as { runId: string }).runId;
  }

  async abortRun(runId: string): Promise<void> {
    await this.#call("POST", `/api/runs/${runId}/abort`);
  }

  async *followRun(runId: string): AsyncGenerator<RunProgress> {
    const response = await this.#call("GET", `/api/runs/${runId}/progress`);
    if (response.body === null) return;
    let pending = "";
    const decoder = new TextDecoder();
    for await (const chunk of response.body) {
      pending += decoder.decode(chunk as Uint8Array, { stream: true });
      const lines = pending.split("\n");
      pending = lines.pop() ?? "";
      for (const line of lines) if (line !== "") yield JSON.parse(line) as RunProgress;
    }
  }

  async get(path: string): Promise<unknown> {
    return (await this.#call("GET", path)).json();
  }

  async post(path: string, body?: object): Promise<unknown> {
    return (await this.#call("POST", path, body)).json();
  }

  async put(path: string, body: object): Promise<unknown> {
    return (await this.#call("PUT", path, body)).json();
  }

  async remove(path: string): Promise<void> {
    await this.#call("DELETE", path);
  }

  async #call(method: string, path: string, body?: object): Promise<Response> {
    let response: Response;
    try {
      response = await fetch(new URL(path, this.#url), {
        method,
        ...(body === undefined
          ? {}
          : {
              body: JSON.stringify(body),
              headers: { "content-type": "application/json" },
            }),
      });
    } catch (cause) {
      throw new Fault(
        "CONTROLLER_UNREACHABLE",
        `No controller answers at ${this.#url}`,
        "Start one with `npx dyetrace controller`, or name another with --controller URL",
        { cause },
      );
    }
    if (response.ok) return response;
    throw await faultOf(response);
  }
}

async function faultOf(response: Response): Promise<Fault> {
  const text = await response.text();
  try {
    const { code, message, hint, place } = JSON.parse(text) as {
      code: FaultCode;
      message: string;
      hint: string;
      place?: FilePlace | null;
    };
    return new Fault(code, message, hint, place === null || place === undefined ? {} : { place });
  } catch {
    return new Fault("CONTROLLER_UNREACHABLE", `The controller answered ${response.status}: ${text.slice(0, 200)}`, "");
  }
}
