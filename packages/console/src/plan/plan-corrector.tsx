import type { PlanRests } from "@dyetrace/wire/console/plan-answer";
import type { PlanDrawing } from "@dyetrace/wire/console/plan-drawing";
import type { PlanEdit } from "@dyetrace/wire/console/plan-edit";
import { useEffect, useRef, useState } from "preact/hooks";
import { SureButton } from "../parts/sure-button.tsx";
import { LinkFacts } from "./link-facts.tsx";
import { MoveNode } from "./move-node.tsx";
import { KINDS } from "./neighbours-of.ts";
import { NewNode } from "./new-node.tsx";
import { SplitNode } from "./split-node.tsx";

export interface CorrectorProps {
  readonly drawing: PlanDrawing;
  readonly rests: PlanRests;
  readonly node: string;
  /** The drawing is older than the text: the places of its links in the list are not sure. */
  readonly isStale: boolean;
  readonly isBusy: boolean;
  readonly onEdit: (edit: PlanEdit) => void;
}

const REST_WORDS = { seen: "Seen", concluded: "Concluded", open: "Open" } as const;

/** What can be corrected at the place that was pointed at: its name and kind, where it hangs, what it is one with, what is missing. */
export function PlanCorrector(props: CorrectorProps) {
  const { drawing, rests, node, isStale, isBusy, onEdit } = props;
  const head = useRef<HTMLHeadingElement>(null);
  const self = drawing.nodes.find((one) => one.name === node);
  const [name, setName] = useState(node);
  useEffect(() => {
    // The button that was just pressed may be gone with what it changed: the keyboard goes on from here.
    if (document.activeElement === document.body) head.current?.focus({ preventScroll: true });
  }, [drawing]);
  if (self === undefined) return null;
  const links = drawing.links.filter(({ a, b }) => a.node === node || b.node === node);
  const restsOn = rests.nodes[node];
  return (
    <section class="plan-corrector" aria-labelledby="corrector">
      <h2 id="corrector" ref={head} tabIndex={-1}>
        Correct {node}
      </h2>
      {restsOn !== undefined && (
        <p class="small soft">
          {REST_WORDS[restsOn.by]}: {restsOn.because}.
        </p>
      )}
      <form
        onSubmit={(event) => {
          event.preventDefault();
          onEdit({ kind: "rename", node, to: name.trim() });
        }}
      >
        <label class="field">
          <span>Name</span>
          <input value={name} required maxLength={31} onInput={(event) => setName(event.currentTarget.value)} />
        </label>
        <button type="submit" class="press small" disabled={isBusy || name.trim() === node || name.trim() === ""}>
          Rename
        </button>
      </form>
      <label class="field">
        <span>Kind</span>
        <select
          value={self.kind}
          disabled={isBusy}
          onChange={(event) =>
            onEdit({ kind: "retype", node, to: event.currentTarget.value as (typeof KINDS)[number] })
          }
        >
          {KINDS.map((kind) => (
            <option key={kind} value={kind}>
              {kind}
            </option>
          ))}
        </select>
      </label>
      <MoveNode key={links.length} drawing={drawing} node={node} isBusy={isBusy} onEdit={onEdit} />
      {isStale ? (
        <p class="small soft">Its links can be described again once the plan has no mistakes.</p>
      ) : (
        links.map((link) => (
          <LinkFacts
            key={JSON.stringify(link)}
            link={link}
            node={node}
            hasVlans={drawing.vlans !== undefined}
            rests={rests.links[link.index] ?? null}
            isBusy={isBusy}
            onEdit={onEdit}
          />
        ))
      )}
      {self.kind !== "host" && (
        <>
          <NewNode drawing={drawing} node={node} isBusy={isBusy} onEdit={onEdit} />
          <SplitNode drawing={drawing} node={node} isBusy={isBusy} onEdit={onEdit} />
        </>
      )}
      <SureButton
        label={`Remove ${node}`}
        sure={`Really remove ${node}, with its ${links.length === 1 ? "link" : "links"}?`}
        onSure={() => onEdit({ kind: "remove", node })}
      />
    </section>
  );
}
