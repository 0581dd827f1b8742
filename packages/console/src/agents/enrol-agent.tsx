import type { EnrolAnswer } from "@dyetrace/wire/console/console-agent";
import { useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { CopyLine } from "../parts/copy-line.tsx";
import { formatClock } from "../parts/format.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";

/** One line that installs an agent on a host and enrols it. */
export function EnrolAgent() {
  const [name, setName] = useState("");
  const [interfaceName, setInterfaceName] = useState("");
  const [answer, setAnswer] = useState<EnrolAnswer | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const make = (event: Event): void => {
    event.preventDefault();
    setRefusal(null);
    const body = {
      ...(name.trim() === "" ? {} : { name: name.trim() }),
      ...(interfaceName.trim() === "" ? {} : { interface: interfaceName.trim() }),
    };
    askController<EnrolAnswer>("/api/enrolled", { method: "POST", body }).then(setAnswer, (error: unknown) => {
      setAnswer(null);
      setRefusal(asRefusal(error));
    });
  };
  return (
    <section class="add-agent" aria-labelledby="enrol-agent">
      <h2 id="enrol-agent">Bring a host in</h2>
      <form onSubmit={make}>
        <div class="two-fields">
          <label class="field">
            <span>Its name, as the plan has it (else the host's own)</span>
            <input value={name} onInput={(event) => setName(event.currentTarget.value)} placeholder="kiosk-3" />
          </label>
          <label class="field">
            <span>The network interface to test (else the only one)</span>
            <input
              value={interfaceName}
              onInput={(event) => setInterfaceName(event.currentTarget.value)}
              placeholder="eth0"
            />
          </label>
        </div>
        <button type="submit" class="press">
          Make the line
        </button>
      </form>
      {refusal !== null && <RefusalNote refusal={refusal} />}
      {answer !== null && (
        <>
          <p>Paste it into a shell on that host. It works once, until {formatClock(new Date(answer.until))}:</p>
          <CopyLine text={answer.line} />
          <p class="small soft">
            It needs Node.js 20 there, fetches the agent from this controller alone, makes a user for it, and starts it
            with the right to see what arrives and no other. The host listens at once. It sends only when its own file,
            /etc/dyetrace/agent.yaml, allows it.
          </p>
        </>
      )}
    </section>
  );
}
