import { type ScheduleDraft, scheduleDraft, startAtOnce, startLater } from "./schedule-draft.ts";

/** When the run starts, and when it ends. @param hasLength the scenario lasts as long as it is told to */
export function ScheduleTimes(props: {
  readonly hasLength: boolean;
  readonly wrong: string | null;
  readonly note: string | null;
}) {
  const { hasLength, wrong, note } = props;
  const draft = scheduleDraft.value;
  const set = (change: Partial<ScheduleDraft>): void => {
    scheduleDraft.value = { ...draft, ...change };
  };
  return (
    <fieldset class="schedule-times">
      <legend>When it starts</legend>
      <div class="schedule-choice">
        <label>
          <input type="radio" name="when" checked={!draft.isLater} onChange={startAtOnce} /> Now
        </label>
        <label>
          <input type="radio" name="when" checked={draft.isLater} onChange={() => startLater(Date.now())} /> Later
        </label>
      </div>
      {draft.isLater && (
        <div class="two-fields">
          <label class="field">
            <span>Start</span>
            <input
              type="datetime-local"
              required
              value={draft.start}
              onInput={(event) => set({ start: event.currentTarget.value })}
            />
          </label>
          {hasLength ? (
            <label class="field">
              <span>End</span>
              <input
                type="datetime-local"
                value={draft.end}
                onInput={(event) => set({ end: event.currentTarget.value })}
              />
            </label>
          ) : (
            <p class="small soft">This scenario has no parameter “length”: it ends by itself.</p>
          )}
          <label class="field">
            <span>Time zone</span>
            <select value={draft.zone} onChange={(event) => set({ zone: event.currentTarget.value })}>
              {zones(draft.zone).map((zone) => (
                <option key={zone} value={zone}>
                  {zone}
                </option>
              ))}
            </select>
          </label>
          <label class="field">
            <span>It may begin late by, minutes</span>
            <input
              type="number"
              min={1}
              max={1440}
              value={draft.withinMinutes}
              onInput={(event) => set({ withinMinutes: event.currentTarget.valueAsNumber })}
            />
          </label>
        </div>
      )}
      {note !== null && <p class="small">{note}</p>}
      {wrong !== null && (
        <p class="missing" role="alert">
          {wrong}
        </p>
      )}
    </fieldset>
  );
}

/** The chosen one and UTC first. */
const zones = (chosen: string): readonly string[] => [
  ...new Set([chosen, Intl.DateTimeFormat().resolvedOptions().timeZone, "UTC", ...Intl.supportedValuesOf("timeZone")]),
];
