import type { FileMistake } from "@dyetrace/wire/console/file-mistake";
import { useLayoutEffect, useRef } from "preact/hooks";

export interface CodeEditorProps {
  readonly text: string;
  readonly mistakes: readonly FileMistake[];
  readonly label: string;
  readonly onChange: (text: string) => void;
}

/** As in the style sheet: the marks beside and behind the text must keep its pace. */
const LINE_HEIGHT = 22;

/** Plain text with line numbers; lines with a mistake are marked at the number and underlined. */
export function CodeEditor({ text, mistakes, label, onChange }: CodeEditorProps) {
  const area = useRef<HTMLTextAreaElement>(null);
  const gutter = useRef<HTMLDivElement>(null);
  const marks = useRef<HTMLDivElement>(null);
  const lines = text.split("\n").length;
  const wrong = new Map(mistakes.flatMap((mistake) => (mistake.line === null ? [] : [[mistake.line, mistake]])));
  const keepPace = (): void => {
    const shift = `translateY(${-(area.current?.scrollTop ?? 0)}px)`;
    for (const layer of [gutter.current, marks.current]) if (layer !== null) layer.style.transform = shift;
  };
  useLayoutEffect(keepPace);
  return (
    <div class="editor">
      <div class="editor-gutter" aria-hidden="true">
        <div ref={gutter}>
          {Array.from({ length: lines }, (_, index) => (
            <div key={index} class={wrong.has(index + 1) ? "is-wrong" : undefined}>
              {wrong.has(index + 1) ? "✗ " : ""}
              {index + 1}
            </div>
          ))}
        </div>
      </div>
      <div class="editor-text">
        <div class="editor-marks" aria-hidden="true">
          <div ref={marks}>
            {[...wrong.keys()].map((line) => (
              <span key={line} style={{ top: `${(line - 1) * LINE_HEIGHT}px` }} />
            ))}
          </div>
        </div>
        <textarea
          ref={area}
          value={text}
          aria-label={label}
          aria-invalid={mistakes.length > 0}
          aria-describedby="editor-mistakes"
          spellcheck={false}
          autocapitalize="off"
          autocomplete="off"
          wrap="off"
          onScroll={keepPace}
          onInput={(event) => onChange(event.currentTarget.value)}
        />
      </div>
    </div>
  );
}

/** Puts the caret where a mistake stands and brings it into sight. */
export function goToPlace(area: HTMLTextAreaElement, line: number, column: number): void {
  const before = area.value.split("\n").slice(0, line - 1);
  const at = before.reduce((sum, one) => sum + one.length + 1, 0) + column - 1;
  area.focus();
  area.setSelectionRange(at, at);
  area.scrollTop = Math.max(0, (line - 4) * LINE_HEIGHT);
}
