import { useState } from "preact/hooks";
import { Awaited } from "../parts/awaited.tsx";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { link } from "../state/console-state.ts";
import { mayOperate } from "../state/session.ts";
import { AddDevice } from "../switches/add-device.tsx";
import { DeviceRow } from "../switches/device-row.tsx";
import { PasteTable } from "../switches/paste-table.tsx";
import { rankDevices } from "../switches/rank-devices.ts";
import { useDevices } from "../switches/use-devices.ts";
import "../style/switches-page.css";

const MOST_SHOWN = 12;

/** Switches, routers and access points that the controller reads: what was read when, their tables, and how one is added. */
export function SwitchesPage() {
  const { list, summaries, refusal, load, read, reading } = useDevices();
  const [isWhole, setWhole] = useState(false);
  const [search, setSearch] = useState("");
  const mayRead = mayOperate.value && link.value.kind === "on";
  if (list === null) return refusal === null ? <Awaited what="the devices" /> : <RefusalNote refusal={refusal} />;
  const readings = summaries.filter(({ by }) => by !== "pasted");
  const byNode = new Map(readings.map((one) => [one.node, one]));
  const wanted = search.trim().toLowerCase();
  const found = list.filter(({ node, address }) => `${node} ${address}`.toLowerCase().includes(wanted));
  const ranked = rankDevices(found, byNode);
  const shown = isWhole || wanted !== "" ? ranked : ranked.slice(0, MOST_SHOWN);
  return (
    <div class="switches-page">
      <p class="lead">
        {list.length === 0 ? (
          "The controller reads no switch yet."
        ) : (
          <>
            <b>{list.length}</b> {list.length === 1 ? "device" : "devices"},{" "}
            <b>{readings.filter(({ ports }) => ports !== null).length}</b> of them read since the controller began.
          </>
        )}
      </p>
      {refusal !== null && <RefusalNote refusal={refusal} />}
      {list.length > 0 && (
        <div class="switches-tools">
          {mayRead && (
            <button
              type="button"
              class="press"
              disabled={reading !== null}
              onClick={() => read(list.map(({ node }) => node))}
            >
              Read all now
            </button>
          )}
          {list.length > MOST_SHOWN && (
            <label class="field">
              <span>Search by name or address</span>
              <input value={search} onInput={(event) => setSearch(event.currentTarget.value)} />
            </label>
          )}
          <p class="small" role="status">
            {reading !== null &&
              (reading.of === 1
                ? `Reading ${reading.node} …`
                : `Reading ${reading.node}: ${reading.done} of ${reading.of} done.`)}
          </p>
        </div>
      )}
      {list.length > 0 && (
        <section aria-labelledby="device-list">
          <h2 id="device-list">What was read, the worst first</h2>
          {found.length === 0 && <p class="empty">No device is called so.</p>}
          <ul class="device-list">
            {shown.map((device) => (
              <DeviceRow
                key={device.node}
                device={device}
                summary={byNode.get(device.node)}
                isReading={reading?.node === device.node}
                mayRead={mayRead}
                onRead={() => read([device.node])}
                onRemoved={load}
              />
            ))}
          </ul>
          {ranked.length > shown.length && (
            <button type="button" class="as-link" onClick={() => setWhole(true)}>
              and {ranked.length - shown.length} more
            </button>
          )}
        </section>
      )}
      {mayRead ? <AddDevice onAdded={load} /> : <p class="small soft">Only who may operate adds and reads devices.</p>}
      <PasteTable pasted={summaries.filter(({ by }) => by === "pasted")} mayPaste={mayRead} onPasted={load} />
    </div>
  );
}
