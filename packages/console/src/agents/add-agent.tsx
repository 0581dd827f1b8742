import type { NewAgentHelp } from "@dyetrace/wire/console/console-agent";
import { useEffect, useState } from "preact/hooks";
import { askController } from "../link/ask-controller.ts";
import { CopyLine } from "../parts/copy-line.tsx";
import { link } from "../state/console-state.ts";

/** How an agent is started by hand, where agents share one key. */
export function AddAgent() {
  const [help, setHelp] = useState<NewAgentHelp | null>(null);
  const [name, setName] = useState("");
  const [interfaceName, setInterfaceName] = useState("");
  const isOn = link.value.kind === "on";
  useEffect(() => {
    if (isOn) askController<NewAgentHelp>("/api/console/new-agent").then(setHelp, () => {});
  }, [isOn]);
  if (help === null || help.key === null) return null; // each agent has a credential of its own
  const command = [
    "npx dyetrace-agent run",
    `--controller ${help.controllerUrl}`,
    `--key ${help.key}`,
    `--name ${name.trim() === "" ? "NAME" : name.trim()}`,
    `--interface ${interfaceName.trim() === "" ? "IFACE" : interfaceName.trim()}`,
  ].join(" ");
  return (
    <section class="add-agent" aria-labelledby="add-agent">
      <h2 id="add-agent">Or start one from a clone on this machine</h2>
      <ol>
        <li>
          On the host, see what would spoil a test:
          <CopyLine text="npx dyetrace-agent check" />
        </li>
        <li>
          <div class="two-fields">
            <label class="field">
              <span>Its name, as the plan has it</span>
              <input value={name} onInput={(event) => setName(event.currentTarget.value)} placeholder="kiosk-3" />
            </label>
            <label class="field">
              <span>The network interface to test</span>
              <input
                value={interfaceName}
                onInput={(event) => setInterfaceName(event.currentTarget.value)}
                placeholder="eth0"
              />
            </label>
          </div>
          Then start it there:
          <CopyLine text={command} />
          {isLoopbackUrl(help.controllerUrl) && (
            <p class="small soft">
              This controller answers at {help.controllerUrl}, which only this machine can reach. For agents on other
              hosts start it with <code>--listen ADDRESS:8472</code>.
            </p>
          )}
        </li>
        <li>It may listen at once. It sends only when the host's own file, /etc/dyetrace/agent.yaml, allows it.</li>
      </ol>
    </section>
  );
}

const isLoopbackUrl = (url: string): boolean => /^https?:\/\/(127\.|localhost|\[::1\])/.test(url);
