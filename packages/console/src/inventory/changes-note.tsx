import type { InventoryChange, InventoryChanges } from "@dyetrace/wire/inventory/inventory-schema";
import { formatInstant } from "../parts/format.ts";

/** What is new, gone and otherwise since an earlier inventory. */
export function ChangesNote({ changes }: { readonly changes: InventoryChanges }) {
  const { appeared, gone, changed, doubts, sinceTakenAt } = changes;
  const isSame = appeared.length + gone.length + changed.length === 0;
  return (
    <section class="wire-changes" aria-labelledby="wire-changes">
      <h2 id="wire-changes">Since {formatInstant(sinceTakenAt)}</h2>
      {isSame && <p>Nothing is new, gone or different.</p>}
      <ChangeList head="New" list={appeared} />
      <ChangeList head="Gone" list={gone} />
      <ChangeList head="Different" list={changed} />
      {doubts.map((doubt) => (
        <p key={doubt} class="small soft">
          {doubt}.
        </p>
      ))}
    </section>
  );
}

function ChangeList({ head, list }: { readonly head: string; readonly list: readonly InventoryChange[] }) {
  if (list.length === 0) return null;
  return (
    <>
      <h3>
        {head}: {list.length}
      </h3>
      <ul>
        {list.map(({ group, port, what }) => (
          <li key={`${group} ${port}`}>
            <b>
              {group}
              {port !== null && ` port ${port}`}
            </b>
            {what.length > 0 && `: ${what.join("; ")}`}
          </li>
        ))}
      </ul>
    </>
  );
}
