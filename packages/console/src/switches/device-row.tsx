import type { DeviceEntry } from "@dyetrace/wire/devices/device-access";
import type { ReadingSummary } from "@dyetrace/wire/devices/reading-summary";
import { useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { formatClock, formatInstant } from "../parts/format.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { SureButton } from "../parts/sure-button.tsx";
import { saySummary } from "./rank-devices.ts";
import { ReadingTables } from "./reading-tables.tsx";
import { useReading } from "./use-devices.ts";

const HOW = { "snmp-v3": "SNMPv3", "snmp-v2c": "SNMPv2c, in clear" } as const;

/** A device: how it is read, what was read when, and its tables for whoever opens them. No secret ever comes here. */
export function DeviceRow(props: {
  readonly device: DeviceEntry;
  readonly summary: ReadingSummary | undefined;
  readonly isReading: boolean;
  readonly mayRead: boolean;
  readonly onRead: () => void;
  readonly onRemoved: () => void;
}) {
  const { device, summary, isReading, mayRead } = props;
  const { node, address, port, by, user, addedAt, addedBy } = device;
  const [isOpen, setOpen] = useState(false);
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const reading = useReading(node, isOpen ? (summary?.readAt ?? null) : null);
  const remove = (): void => {
    const path = `/api/devices/${encodeURIComponent(node)}`;
    askController(path, { method: "DELETE" }).then(props.onRemoved, (error: unknown) => setRefusal(asRefusal(error)));
  };
  return (
    <li class="device">
      <h3>{node}</h3>
      <p class="small soft">
        {address}, UDP port {port}, {HOW[by]}
        {user === null ? "" : ` as ${user}`}; added {formatInstant(addedAt)} by {addedBy}
      </p>
      <p class="small" role="status">
        {isReading
          ? "Being read …"
          : summary === undefined
            ? "Not read since the controller began: unknown."
            : summary.ports === null
              ? `Tried ${sayWhen(summary.readAt)}.`
              : `Read ${sayWhen(summary.readAt)}: ${saySummary(summary)}.`}
        {!isReading && summary?.unread !== null && summary !== undefined && ` ${summary.unread}`}
      </p>
      {summary !== undefined && summary.ports !== null && (
        <details open={isOpen} onToggle={(event) => setOpen(event.currentTarget.open)}>
          <summary class="small">Tables of {node}</summary>
          {isOpen && (reading === null ? <p class="small">Asking …</p> : <ReadingTables reading={reading} />)}
        </details>
      )}
      {mayRead && (
        <div class="agent-care">
          <button type="button" class="press small" disabled={isReading} onClick={props.onRead}>
            Read {node} now
          </button>
          <SureButton
            label={`Remove ${node}`}
            sure={`Really remove ${node}, and forget how it is read?`}
            onSure={remove}
          />
        </div>
      )}
      {refusal !== null && <RefusalNote refusal={refusal} />}
    </li>
  );
}

/** The clock alone where it was today. @param iso ISO 8601 */
export function sayWhen(iso: string): string {
  const date = new Date(iso);
  return date.toDateString() === new Date().toDateString() ? `at ${formatClock(date)}` : `on ${formatInstant(iso)}`;
}
