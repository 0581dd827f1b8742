import { formatMs } from "@dyetrace/picture";
import { formatRateBps, formatRatio } from "@dyetrace/wire";
import type { RunForecast } from "@dyetrace/wire/console/run-forecast";
import { nameSome } from "./format.ts";

/** Segments shown of those that the run loads. */
const MOST_LOADS = 8;
const MOST_LOADS_BRIEF = 4;

/** What a run would do, need and load, in plain words. */
export function Forecast(props: {
  readonly forecast: RunForecast;
  /** Without what it is about and its steps. */
  readonly isBrief?: boolean;
}) {
  const { forecast, isBrief = false } = props;
  const mostLoads = isBrief ? MOST_LOADS_BRIEF : MOST_LOADS;
  const { needs, missing, loads, cautions, thoughts } = forecast;
  return (
    <div class="forecast-parts">
      {!isBrief && forecast.about !== null && <p>{forecast.about}</p>}
      {!isBrief && (
        <ol class="story">
          {forecast.steps.map((step, index) => (
            <li key={index}>
              <span class="at">{formatMs(step.atMs)}</span> {step.sentence}
            </li>
          ))}
          {forecast.furtherSteps > 0 && <li class="soft">and {forecast.furtherSteps} more steps</li>}
        </ol>
      )}
      <p>
        It lasts about <b>{formatMs(forecast.lastsMs)}</b> and needs{" "}
        {needs.length === 1 ? "1 agent" : `${needs.length} agents`}
        {missing.length === 0 ? ", all connected" : ""}.
      </p>
      {missing.length > 0 && (
        <p class="missing">
          Not connected: <b>{nameSome(missing)}</b>. Start {missing.length === 1 ? "it" : "them"} first.
        </p>
      )}
      {forecast.expects.length > 0 && (
        <>
          <h3>What is expected</h3>
          <p>{forecast.expects.join("; ")}</p>
        </>
      )}
      {(cautions.length > 0 || thoughts.length > 0) && (
        <>
          <h3>Before you start</h3>
          <ul class="cautions">
            {thoughts.map((thought) => (
              <li key={thought}>{thought}</li>
            ))}
            {cautions.map(({ level, sentence, reference }) => (
              <li key={sentence} class={level}>
                {level === "note" ? "" : <b>{level === "refuse" ? "Refused: " : "Beware: "}</b>}
                {sentence} <span class="soft small">({reference})</span>
              </li>
            ))}
          </ul>
        </>
      )}
      {loads.length > 0 && (
        <>
          <h3>Load on the way</h3>
          <table class="loads">
            <thead>
              <tr>
                <th scope="col">segment</th>
                <th scope="col" class="number">
                  brings
                </th>
                <th scope="col">share of the link</th>
              </tr>
            </thead>
            <tbody>
              {loads.slice(0, mostLoads).map(({ segment, loadBps, speedBps }) => (
                <tr key={segment}>
                  <td>
                    <code>{segment}</code>
                  </td>
                  <td class="number">{formatRateBps(loadBps)}</td>
                  <td>
                    {speedBps === null ? (
                      <span class="soft">the plan has no speed</span>
                    ) : (
                      <span class="share">
                        <span class="channel-bar" aria-hidden="true">
                          <span style={{ width: `${Math.min(1, loadBps / speedBps) * 100}%` }} />
                        </span>
                        {formatRatio(loadBps / speedBps)}
                      </span>
                    )}
                  </td>
                </tr>
              ))}
            </tbody>
          </table>
          {loads.length > mostLoads && (
            <p class="small soft">and {loads.length - mostLoads} more segments, none loaded more</p>
          )}
        </>
      )}
    </div>
  );
}
