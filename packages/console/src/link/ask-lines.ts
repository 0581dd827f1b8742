import { type AskOptions, openAnswer } from "./ask-controller.ts";

/**
 * Asks for what is answered in several lines, a JSON object each, and tells each as it comes.
 * @throws {Refusal} the controller's own, or CONTROLLER_UNREACHABLE
 */
export async function askLines<Line>(path: string, options: AskOptions, onLine: (line: Line) => void): Promise<void> {
  const response = await openAnswer(path, options);
  if (response.body === null) return;
  const reader = response.body.pipeThrough(new TextDecoderStream()).getReader();
  let pending = "";
  for (;;) {
    const { done, value } = await reader.read();
    if (done) return;
    const lines = `${pending}${value}`.split("\n");
    pending = lines.pop() ?? "";
    for (const line of lines) if (line !== "") onLine(JSON.parse(line) as Line);
  }
}
