import type { MarkChange, RunSummary } from "@dyetrace/wire/console/stored-run";
import { useState } from "preact/hooks";
import { askController, asRefusal, type Refusal } from "../link/ask-controller.ts";
import { RefusalNote } from "../parts/refusal-note.tsx";
import { SureButton } from "../parts/sure-button.tsx";
import { runsChanged } from "../state/run-list.ts";

/** What an operator puts to a stored run: its name as a baseline, tags, a note; and its removal. */
export function RunCare({ run }: { readonly run: RunSummary }) {
  const [name, setName] = useState("");
  const [tag, setTag] = useState("");
  const [note, setNote] = useState(run.note ?? "");
  const [refusal, setRefusal] = useState<Refusal | null>(null);
  const path = `/api/runs/${encodeURIComponent(run.runId)}`;
  const ask = (at: string, method: "PUT" | "PATCH" | "DELETE", body?: object, done: () => void = () => {}): void => {
    setRefusal(null);
    askController(at, { method, ...(body === undefined ? {} : { body }) }).then(
      () => {
        done();
        runsChanged();
      },
      (error: unknown) => setRefusal(asRefusal(error)),
    );
  };
  const mark = (change: MarkChange, done?: () => void): void => ask(path, "PATCH", change, done);
  const submit =
    (act: () => void) =>
    (event: Event): void => {
      event.preventDefault();
      act();
    };
  const baseline = (of: string): string => `/api/baselines/${encodeURIComponent(of)}`;
  return (
    <div class="run-care">
      {run.state === "done" && (
        <form onSubmit={submit(() => ask(baseline(name.trim()), "PUT", { runId: run.runId }, () => setName("")))}>
          <label class="field">
            <span>Name it as a baseline</span>
            <input value={name} required maxLength={80} onInput={(event) => setName(event.currentTarget.value)} />
          </label>
          <button type="submit" class="press small">
            Give the name
          </button>
        </form>
      )}
      <form onSubmit={submit(() => mark({ addTags: [tag.trim()] }, () => setTag("")))}>
        <label class="field">
          <span>Tag</span>
          <input value={tag} required maxLength={40} onInput={(event) => setTag(event.currentTarget.value)} />
        </label>
        <button type="submit" class="press small">
          Add the tag
        </button>
      </form>
      <form onSubmit={submit(() => mark({ note: note.trim() === "" ? null : note.trim() }))}>
        <label class="field">
          <span>Note</span>
          <input value={note} maxLength={2000} onInput={(event) => setNote(event.currentTarget.value)} />
        </label>
        <button type="submit" class="press small">
          Keep the note
        </button>
      </form>
      <div class="run-care-rest">
        {run.baselines.map((one) => (
          <SureButton
            key={`name ${one}`}
            label={`Take the name ${one} away`}
            sure={`Really take ${one} away? The run stays`}
            onSure={() => ask(baseline(one), "DELETE")}
          />
        ))}
        {run.tags.map((one) => (
          <button key={`tag ${one}`} type="button" class="press small" onClick={() => mark({ removeTags: [one] })}>
            Remove the tag {one}
          </button>
        ))}
        {(run.state === "done" || run.state === "failed") && (
          <SureButton
            label="Delete this run"
            sure="Really delete it, with all its reports?"
            onSure={() => ask(path, "DELETE")}
          />
        )}
      </div>
      {refusal !== null && <RefusalNote refusal={refusal} />}
    </div>
  );
}
