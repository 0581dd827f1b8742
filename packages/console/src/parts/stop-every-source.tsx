import { useState } from "preact/hooks";
import type { Refusal } from "../link/ask-controller.ts";
import { mayOperate } from "../state/session.ts";
import { stopEverySource, stopOrder } from "../state/stop-sources.ts";
import { nameSome } from "./format.ts";
import { RefusalNote } from "./refusal-note.tsx";

/** In the head of every page, for whoever may operate; also while nothing runs here, since a source may send all the same. */
export function StopEverySource() {
  const [isSure, setSure] = useState(false);
  if (!mayOperate.value) return null;
  const isAsking = stopOrder.value.kind === "asking";
  const press = (): void => {
    setSure(!isSure);
    if (isSure) void stopEverySource();
  };
  return (
    <button
      type="button"
      class={`press small stop-every${isSure ? " is-sure" : ""}`}
      disabled={isAsking}
      onBlur={() => setSure(false)}
      onClick={press}
    >
      {isAsking ? "Stopping every source …" : isSure ? "Press again to stop every source" : "Stop every source"}
    </button>
  );
}

/** Below the head: what became of the order, until somebody has read it. */
export function StopNotice() {
  const order = stopOrder.value;
  const close = (): void => {
    stopOrder.value = { kind: "none" };
  };
  return (
    <div role="status">
      {(order.kind === "told" || order.kind === "refused") && (
        <div class="gone">
          {order.kind === "told" ? <Told agents={order.agents} /> : <NotStopped refusal={order.refusal} />}
          <button type="button" class="press small" onClick={close}>
            Understood
          </button>
        </div>
      )}
    </div>
  );
}

const Told = ({ agents }: { readonly agents: readonly string[] }) => (
  <>
    <strong>{agents.length === 0 ? "No agent is connected, so none was told." : "Told to stop sending:"}</strong>
    {agents.length > 0 && <span>{nameSome(agents)}.</span>}
    <span>An agent that is not connected stops by itself at the end of its hold time.</span>
  </>
);

const NotStopped = ({ refusal }: { readonly refusal: Refusal }) => (
  <>
    <strong>Nothing was stopped.</strong>
    <RefusalNote refusal={refusal} />
    <span>
      On the controller's machine <code>dyetrace stop --data FOLDER</code> stops every source, and on a host{" "}
      <code>dyetrace-agent stop</code> those of that host.
    </span>
  </>
);
