import { formatRateBps } from "@dyetrace/wire";
import type { PlanRests } from "@dyetrace/wire/console/plan-answer";
import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import type { PlanEdit } from "@dyetrace/wire/console/plan-edit";
import { useState } from "preact/hooks";
import { SureButton } from "../parts/sure-button.tsx";

const REST_WORDS = { seen: "Seen", concluded: "Concluded", open: "Open" } as const;

/** One link of the chosen node: its two ports, speed and VLANs, what it rests on, and whether it is there at all. */
export function LinkFacts(props: {
  readonly link: PlanDrawing["links"][number];
  /** The chosen one, whose port stands first. */
  readonly node: string;
  readonly hasVlans: boolean;
  readonly rests: PlanRests["links"][number];
  readonly isBusy: boolean;
  readonly onEdit: (edit: PlanEdit) => void;
}) {
  const { link, node, hasVlans, rests, isBusy, onEdit } = props;
  const isA = link.a.node === node;
  const [near, far] = isA ? [link.a, link.b] : [link.b, link.a];
  const [nearPort, setNearPort] = useState(near.port);
  const [farPort, setFarPort] = useState(far.port);
  const [speed, setSpeed] = useState(link.speedBps === null ? "" : formatRateBps(link.speedBps));
  const [vlans, setVlans] = useState(link.vlans?.join(", ") ?? "");
  const [isBlocked, setBlocked] = useState(link.isBlocked === true);
  const numbers = vlans
    .split(/[\s,;]+/)
    .filter((one) => one !== "")
    .map(Number);
  const isNumbers = numbers.every((one) => Number.isInteger(one) && one >= 0 && one <= 65_535);
  const ports = isA ? [nearPort.trim(), farPort.trim()] : [farPort.trim(), nearPort.trim()];
  return (
    <details open={rests !== null && rests.by !== "seen"}>
      <summary class="small">
        Link to {far.node}, port {near.port}
      </summary>
      <form
        onSubmit={(event) => {
          event.preventDefault();
          // A plan without VLANs has none to name; in one with VLANs nothing means all of them.
          const named = hasVlans && numbers.length > 0 ? numbers : null;
          const known = vlans === (link.vlans?.join(", ") ?? "") ? keptVlans(link.vlans, hasVlans) : named;
          onEdit({ kind: "describe", link: link.index, ports, speed: speed.trim() || null, vlans: known, isBlocked });
        }}
      >
        {rests !== null && (
          <p class="small soft">
            {REST_WORDS[rests.by]}: {rests.because}.
          </p>
        )}
        <div class="plan-pair">
          <label class="field">
            <span>Port of {node}</span>
            <input
              value={nearPort}
              required
              maxLength={13}
              onInput={(event) => setNearPort(event.currentTarget.value)}
            />
          </label>
          <label class="field">
            <span>Port of {far.node}</span>
            <input value={farPort} required maxLength={13} onInput={(event) => setFarPort(event.currentTarget.value)} />
          </label>
          <label class="field">
            <span>Speed</span>
            <input
              value={speed}
              placeholder="unknown"
              maxLength={40}
              onInput={(event) => setSpeed(event.currentTarget.value)}
            />
          </label>
          {hasVlans && (
            <label class="field">
              <span>VLANs</span>
              <input
                value={vlans}
                placeholder="all of the plan"
                onInput={(event) => setVlans(event.currentTarget.value)}
              />
            </label>
          )}
        </div>
        <label class="small">
          <input type="checkbox" checked={isBlocked} onChange={(event) => setBlocked(event.currentTarget.checked)} />{" "}
          Spanning tree keeps it as a spare
        </label>
        {!isNumbers && <p role="alert">VLANs are numbers, such as 10, 20.</p>}
        <div class="plan-corrector-buttons">
          <button type="submit" class="press small" disabled={isBusy || !isNumbers}>
            Change the link
          </button>
          <SureButton
            label="Remove the link"
            sure={`Really remove the link to ${far.node}?`}
            onSure={() => onEdit({ kind: "unlink", link: link.index })}
          />
        </div>
      </form>
    </details>
  );
}

const keptVlans = (vlans: readonly number[] | undefined, hasVlans: boolean): number[] | null =>
  hasVlans && vlans !== undefined ? [...vlans] : null;
