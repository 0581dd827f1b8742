import { findingKindFacts, formatCount, greatestOf, type RunReport } from "@dyetrace/wire";
import { type Evidence, evidenceOf } from "../evidence/evidence-of.ts";
import { aboutPorts, clearedWords, portsToLookAt } from "../evidence/finding-facts.ts";
import { formatMs, sayShare } from "../format/format-figures.ts";
import { runScene } from "../scene/finding-scene.ts";
import { agentsBehind } from "../scene/site-scene.ts";
import { MapPatterns } from "../shapes/map-patterns.tsx";
import { SitePicture } from "../shapes/site-picture.tsx";
import { wordOf } from "../water/finding-marks.ts";
import type { ExhibitProps } from "./exhibit-props.ts";
import { wrapWords } from "./wrap-words.ts";

const WIDTH = 1000;
const MARGIN = 32;
const MAP = { width: 600, height: 430 } as const;
/** It is laid out for more than its place, so that it is drawn on both sides of its channel. */
const LAID_OUT = { width: 680, height: 490 } as const;
/** Bold letters are wider. */
const BOLD = 1.16;
const SIDE = MARGIN + MAP.width + 28;
const SIDE_WIDTH = WIDTH - MARGIN - SIDE;
const MOST_ROWS = 9;
const ROW = 24;
const BAR = { x: MARGIN + 190, width: 480 } as const;

/** One finding as one picture: for a ticket, a mail or a printed page. Its shapes tell all without any colour. */
export function Exhibit({ graph, report, index, when, address, style }: ExhibitProps) {
  const finding = report.findings[index];
  const drawn = runScene(graph, report, index);
  if (finding === undefined || drawn === null) return null;
  const behind = agentsBehind(drawn.tree, finding.suspects);
  const evidence = evidenceOf(finding, report, behind);
  const ports = portsToLookAt(graph, finding, drawn.tree);
  const title = wrapWords(finding.title, (WIDTH - 2 * MARGIN) / BOLD, 24);
  const headEnd = 66 + title.length * 30;
  const mapTop = headEnd + 40;
  const isLeak = evidence.uninvited.length > 0;
  const rows: readonly BarRow[] = (isLeak ? framesOf(evidence) : sharesOf(evidence)).slice(0, MOST_ROWS);
  const barsTop = mapTop + MAP.height + 44;
  const all = isLeak
    ? evidence.uninvited.length + evidence.more.uninvited
    : evidence.shares.length + evidence.more.shares;
  const more = all - rows.length;
  const height = barsTop + rows.length * ROW + (more > 0 ? ROW : 0) + 70;
  const lastsMs = Date.parse(report.endedAt) - Date.parse(report.startedAt);
  const tag = wordOf(finding);
  return (
    <svg xmlns="http://www.w3.org/2000/svg" class="site-picture exhibit" viewBox={`0 0 ${WIDTH} ${height}`}>
      <title>{`${report.site}: ${finding.title}`}</title>
      <style>{style}</style>
      <MapPatterns />
      <rect class="paper" width={WIDTH} height={height} />
      <rect class="tag" x={MARGIN} y={28} width={tag.length * 11 + 24} height={26} rx={2} />
      <text class="tag-word" x={MARGIN + 12} y={46}>
        {tag}
      </text>
      <text class="soft" x={MARGIN + tag.length * 11 + 40} y={46}>
        {findingKindFacts(finding.kind).meaning}
      </text>
      <Lines lines={title} x={MARGIN} y={84} step={30} className="title" />
      <text class="soft" x={MARGIN} y={headEnd + 16}>
        {`${report.site} · ${report.scenario} · ${when}, ${formatMs(lastsMs)} · confidence ${Math.round(finding.confidence * 100)} %`}
      </text>
      <svg x={MARGIN} y={mapTop} width={MAP.width} height={MAP.height} aria-hidden="true">
        <SitePicture
          name="Where it is"
          tree={drawn.tree}
          scene={drawn.scene}
          marks={drawn.marks}
          rateBps={drawn.rateBps}
          width={LAID_OUT.width}
          height={LAID_OUT.height}
          isExcerpt={true}
        />
      </svg>
      <Side ports={ports} finding={finding} cleared={clearedWords(report, finding, behind)} top={mapTop + 16} />
      {rows.length > 0 && (
        <text class="head" x={MARGIN} y={barsTop - 14}>
          {isLeak ? "Frames at hosts that had not joined" : "What each listener received, in packets"}
        </text>
      )}
      {rows.map((row, at) => (
        <Bar key={`${row.who} ${at}`} row={row} y={barsTop + at * ROW} />
      ))}
      {more > 0 && (
        <text class="soft" x={MARGIN} y={barsTop + rows.length * ROW + 14}>{`and ${formatCount(more)} more`}</text>
      )}
      <line class="rule" x1={MARGIN} x2={WIDTH - MARGIN} y1={height - 48} y2={height - 48} />
      <text class="soft" x={MARGIN} y={height - 24}>
        {`run ${report.run}, finding ${index + 1} · ${address}`}
      </text>
    </svg>
  );
}

function Side(props: {
  readonly ports: ReturnType<typeof portsToLookAt>;
  readonly finding: RunReport["findings"][number];
  readonly cleared: string;
  readonly top: number;
}) {
  const { ports, finding, cleared, top } = props;
  const advice = wrapWords(finding.advice, SIDE_WIDTH, 14).slice(0, 9);
  const clearedLines = wrapWords(cleared, SIDE_WIDTH, 14);
  const portsEnd = top + (ports === null ? 0 : 104);
  const clearedTop = portsEnd + 22;
  const adviceTop = clearedTop + clearedLines.length * 19 + 40;
  return (
    <g>
      {ports !== null && (
        <>
          <text class="head" x={SIDE} y={top}>
            The two ports to look at
          </text>
          <text class="port" x={SIDE} y={top + 30}>
            {ports.from}
          </text>
          <text class="port" x={SIDE} y={top + 58}>
            {ports.to}
          </text>
          <text class="soft" x={SIDE} y={top + 82}>
            {aboutPorts(ports)}
          </text>
        </>
      )}
      <text class="head" x={SIDE} y={clearedTop}>
        What cleared the other places
      </text>
      <Lines lines={clearedLines} x={SIDE} y={clearedTop + 22} step={19} className="text" />
      {advice.length > 0 && (
        <>
          <text class="head" x={SIDE} y={adviceTop}>
            What to do next
          </text>
          <Lines lines={advice} x={SIDE} y={adviceTop + 22} step={19} className="text" />
        </>
      )}
    </g>
  );
}

interface BarRow {
  readonly who: string;
  /** 0 to 1; null: unknown. */
  readonly ratio: number | null;
  readonly told: string;
  readonly isLeak: boolean;
}

const sharesOf = ({ shares }: Evidence): readonly BarRow[] =>
  shares.map(({ listener, received, sent, partial }) => {
    const told = sayShare({ received, sent });
    const ratio = received === null || sent === null || sent === 0 ? null : Math.min(1, received / sent);
    return { who: listener, ratio, told: partial === null ? told : `${told} (${partial})`, isLeak: false };
  });

function framesOf({ uninvited }: Evidence): readonly BarRow[] {
  const most = greatestOf(uninvited.map(({ frames }) => frames));
  return uninvited.map(({ agent, frames }) => ({
    who: agent,
    ratio: frames / Math.max(1, most),
    told: frames === 1 ? "1 frame" : `${formatCount(frames)} frames`,
    isLeak: true,
  }));
}

function Bar({ row: { who, ratio, told, isLeak }, y }: { readonly row: BarRow; readonly y: number }) {
  const trough = ratio === null ? " unknown" : ratio === 0 ? " dry" : "";
  return (
    <g>
      <text class="text" x={BAR.x - 12} y={y + 13} text-anchor="end">
        {who}
      </text>
      <rect class={`trough${trough}`} x={BAR.x} y={y + 2} width={BAR.width} height={13} />
      {ratio !== null && ratio > 0 && (
        <rect
          class={`filled${isLeak ? " leaked" : ""}`}
          x={BAR.x}
          y={y + 2}
          width={Math.max(1.5, BAR.width * ratio)}
          height={13}
        />
      )}
      <text class="text" x={BAR.x + BAR.width + 12} y={y + 13}>
        {told}
      </text>
    </g>
  );
}

function Lines(props: {
  readonly lines: readonly string[];
  readonly x: number;
  readonly y: number;
  readonly step: number;
  readonly className: string;
}) {
  return (
    <>
      {props.lines.map((line, index) => (
        <text key={`${index} ${line}`} class={props.className} x={props.x} y={props.y + index * props.step}>
          {line}
        </text>
      ))}
    </>
  );
}
