import type { RunRequest } from "@dyetrace/wire";
import type { ProbeOffer } from "@dyetrace/wire/console/probe-offer";
import { useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { CheckedRequest } from "../run/checked-request.tsx";
import { isRunning, link } from "../state/console-state.ts";

interface OfferProbeProps {
  readonly runId: string;
  /** The finding's position in the report's list. */
  readonly index: number;
  /** A probe of it has said something already. */
  readonly isProbed: boolean;
}

/** The button on a finding with several suspects: first what the probe is, then the button that starts it. */
export function OfferProbe({ runId, index, isProbed }: OfferProbeProps) {
  const [offer, setOffer] = useState<ProbeOffer | null>(null);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const [isAsking, setAsking] = useState(false);
  const isOn = link.value.kind === "on";
  const ask = (): void => {
    setAsking(true);
    setRefusal(null);
    askController<ProbeOffer>(`/api/runs/${encodeURIComponent(runId)}/probe?finding=${index}`)
      .then(setOffer, (error: unknown) => setRefusal(asRefusal(error)))
      .finally(() => setAsking(false));
  };
  return (
    <section class="probe-offer">
      {offer === null ? (
        <>
          <button type="button" class="press" onClick={ask} disabled={!isOn || isAsking}>
            {isAsking ? "Working out a probe …" : isProbed ? "Probe again" : "Tell these suspects apart"}
          </button>
          <p class="small soft">Shows a short run that would tell them apart. Nothing is sent yet.</p>
        </>
      ) : (
        <Offer offer={offer} onClose={() => setOffer(null)} />
      )}
      {refusal !== null && <RefusalNote refusal={refusal} />}
    </section>
  );
}

function Offer({ offer, onClose }: { readonly offer: ProbeOffer; readonly onClose: () => void }) {
  const { request, refusal, sends, tells, wantedAgentAt } = offer;
  return (
    <div class="probe-panel">
      <h3>{request === null ? "No probe would tell them apart" : "A probe that tells them apart"}</h3>
      {refusal !== null && <p>{refusal}.</p>}
      {sends.length > 0 && (
        <ul class="evidence">
          {sends.map((sentence) => (
            <li key={sentence}>{sentence}</li>
          ))}
        </ul>
      )}
      {tells.length > 0 && (
        <>
          <h3>What it can tell</h3>
          <ul class="evidence">
            {tells.map((sentence) => (
              <li key={sentence}>{sentence}</li>
            ))}
          </ul>
        </>
      )}
      {request !== null && wantedAgentAt !== null && (
        <p class="small soft">
          One more agent beside {wantedAgentAt}, sending and listening, would tell them apart better.
        </p>
      )}
      {request !== null && isRunning.value && (
        <p class="small">A run is going on. The probe can start when it is over.</p>
      )}
      {request !== null && !isRunning.value && (
        <CheckedRequest request={request as RunRequest} words="Send the probe" isBrief={true} />
      )}
      <p>
        <button type="button" class="as-link" onClick={onClose}>
          {request === null ? "Close" : "Not now"}
        </button>
      </p>
    </div>
  );
}
