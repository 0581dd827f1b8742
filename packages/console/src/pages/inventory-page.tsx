import type { Inventory, InventoryGroup, InventorySummary } from "@dyetrace/wire/inventory/inventory-schema";
import { useState } from "preact/hooks";
import { ChangesNote } from "../inventory/changes-note.tsx";
import { GroupEntry } from "../inventory/group-entry.tsx";
import { useInventories, useInventory, useInventoryChanges } from "../inventory/use-inventories.ts";
import { Awaited } from "../parts/awaited.tsx";
import { formatInstant, nameSome } from "../parts/format.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { useFirst } from "../parts/use-first.tsx";

const LENGTHS_MS = [10_000, 30_000, 120_000, 600_000] as const;
const sayLength = (ms: number): string => (ms < 60_000 ? `${ms / 1000} s` : `${ms / 60_000} min`);

/** Every group on the wire, as all agents see it: taken now, read again, and held against an earlier one. */
export function InventoryPage() {
  const { list, isLooking, refusal, look } = useInventories();
  const [forMs, setForMs] = useState<number>(30_000);
  const [chosen, setChosen] = useState<string | null>(null);
  const [since, setSince] = useState<string | null>(null);
  const kept = list?.filter(({ state }) => state === "done") ?? [];
  const shown = kept.some(({ id }) => id === chosen) ? chosen : (kept[0]?.id ?? null);
  const earlier = kept.some(({ id }) => id === since) && since !== shown ? since : null;
  const inventory = useInventory(shown);
  const changes = useInventoryChanges(shown, earlier);
  return (
    <div class="inventory-page">
      <p>
        All agents look at what passes their network cards. Nothing is joined, nothing is sent, and of no packet the
        payload is kept.
      </p>
      <div class="wire-tools">
        <label class="field">
          <span>How long they look</span>
          <select value={String(forMs)} onChange={(event) => setForMs(Number(event.currentTarget.value))}>
            {LENGTHS_MS.map((ms) => (
              <option key={ms} value={String(ms)}>
                {sayLength(ms)}
              </option>
            ))}
          </select>
        </label>
        <button type="button" class="press" disabled={isLooking} onClick={() => look(forMs)}>
          {isLooking ? "The agents are looking …" : "Look now"}
        </button>
        {kept.length > 0 && <Choice head="Show" list={kept} value={shown} onChoose={setChosen} />}
        {kept.length > 1 && (
          <Choice
            head="New since"
            list={kept.filter(({ id }) => id !== shown)}
            value={earlier}
            none="not compared"
            onChoose={setSince}
          />
        )}
      </div>
      {refusal !== null && <RefusalNote refusal={refusal} />}
      {list?.some(({ state }) => state === "failed") === true && (
        <p role="alert">The last look came to nothing: the controller's log says why.</p>
      )}
      {changes !== null && <ChangesNote changes={changes} />}
      {inventory === null ? (
        list !== null && shown === null ? (
          <p class="empty">No inventory was taken yet.</p>
        ) : (
          <Awaited what={list === null ? "the inventories" : "the inventory"} />
        )
      ) : (
        <Contents inventory={inventory} />
      )}
    </div>
  );
}

function Choice(props: {
  readonly head: string;
  readonly list: readonly InventorySummary[];
  readonly value: string | null;
  readonly none?: string;
  readonly onChoose: (id: string | null) => void;
}) {
  const { head, list, value, none, onChoose } = props;
  return (
    <label class="field">
      <span>{head}</span>
      <select value={value ?? ""} onChange={(event) => onChoose(event.currentTarget.value || null)}>
        {none !== undefined && <option value="">{none}</option>}
        {list.map(({ id, takenAt, seenForMs, groups }) => (
          <option key={id} value={id}>
            {formatInstant(takenAt)}, {sayLength(seenForMs)}, {groups === 1 ? "1 group" : `${groups} groups`}
          </option>
        ))}
      </select>
    </label>
  );
}

function Contents({ inventory }: { readonly inventory: Inventory }) {
  const { agents, groups, queriers, freeGroups, summarised, registry, seenFor, takenAt } = inventory;
  const looked = agents.filter(({ lookedMs }) => lookedMs !== null);
  const leftOut = useFirst(summarised, MOST_LEFT_OUT);
  const data = groups.filter(({ kind }) => kind === "data");
  const control = groups.filter(({ kind }) => kind === "control");
  return (
    <>
      <p class="lead">
        <b>{data.length}</b> {data.length === 1 ? "group" : "groups"} with data, seen by <b>{looked.length}</b> of{" "}
        {agents.length} agents in {seenFor}, {formatInstant(takenAt)}.
      </p>
      {summarised.length > 0 && (
        <>
          <ul class="remarks">
            {leftOut.shown.map((sentence) => (
              <li key={sentence}>{sentence}.</li>
            ))}
          </ul>
          {leftOut.more}
        </>
      )}
      <GroupList id="wire-data" head="Groups with data" rows={data} />
      <p>
        {queriers.length === 0
          ? "No query was heard in the look or in the minutes before."
          : queriers
              .map(
                ({ protocol, version, address, seenBy }) =>
                  `${address} sends ${protocol === "igmp" ? "IGMP" : "MLD"} version ${version} queries, heard by ${nameSome(seenBy)}.`,
              )
              .join(" ")}
      </p>
      {freeGroups.length > 0 && <p>Free for a new use: {freeGroups.join(", ")}.</p>}
      <details class="wire-control">
        <summary>
          {control.length === 1 ? "1 group" : `${control.length} groups`} of the network's own protocols and of
          discovery, which tests leave alone
        </summary>
        <GroupList id="wire-control" head="Protocols and discovery" rows={control} />
      </details>
      <p class="small soft">Known uses: {registry}.</p>
    </>
  );
}

const MOST_LEFT_OUT = 6;
const MOST_GROUPS = 24;

/** Those that something is to be said about come first. */
function GroupList(props: { readonly id: string; readonly head: string; readonly rows: readonly InventoryGroup[] }) {
  const { id, head, rows } = props;
  const { shown, more } = useFirst(
    rows.toSorted((a, b) => Number(b.remarks.length > 0) - Number(a.remarks.length > 0)),
    MOST_GROUPS,
  );
  return (
    <section aria-labelledby={id}>
      <h2 id={id}>{head}</h2>
      {rows.length === 0 ? (
        <p class="empty">None was seen.</p>
      ) : (
        <ul class="wire-list">
          {shown.map((row) => (
            <GroupEntry key={`${row.group} ${row.protocol} ${row.port}`} row={row} />
          ))}
        </ul>
      )}
      {more}
    </section>
  );
}
