import type { UserFile } from "@dyetrace/wire";
import { draft, redoDraft, undoDraft } from "./plan-draft.ts";

/** The plan's file, and what can be done with the corrections that were made: back, forth, none of them, kept. */
export function PlanHead(props: {
  readonly file: UserFile;
  readonly isUnsaved: boolean;
  readonly canSave: boolean;
  readonly onDiscard: () => void;
  readonly onSave: () => void;
}) {
  const { file, isUnsaved, canSave } = props;
  const history = draft.value?.history;
  return (
    <div class="plan-head">
      <h2 id="plan-head">Site plan</h2>
      <span class="soft small file-name" title={file.file}>
        {fileNameOf(file)}
      </span>
      {isUnsaved && <span class="name-tag">not saved</span>}
      <span class="spacer" />
      <button type="button" class="press small" disabled={(history?.past.length ?? 0) === 0} onClick={undoDraft}>
        Undo
      </button>
      <button type="button" class="press small" disabled={(history?.future.length ?? 0) === 0} onClick={redoDraft}>
        Redo
      </button>
      <button type="button" class="press small" disabled={!isUnsaved} onClick={props.onDiscard}>
        Undo all
      </button>
      <a class="press small" download={fileNameOf(file)} href={downloadOf(file)}>
        Download
      </a>
      <button type="button" class="press small pours" disabled={!canSave} onClick={props.onSave}>
        Save
      </button>
    </div>
  );
}

const fileNameOf = ({ file }: UserFile): string => file.split("/").at(-1) ?? "site-plan.yaml";
const downloadOf = ({ text }: UserFile): string => `data:application/yaml;charset=utf-8,${encodeURIComponent(text)}`;
