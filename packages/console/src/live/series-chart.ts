import type { LiveSeries } from "@dyetrace/wire/console/live-second";

export interface SeriesChart {
  update(series: LiveSeries): void;
  destroy(): void;
}

const HEIGHT = 180;

/** Rate and lost packets of one listener over time. The chart library is loaded when the first chart is asked for. */
export async function drawSeries(element: HTMLElement, series: LiveSeries): Promise<SeriesChart> {
  const [{ default: Chart }] = await Promise.all([import("uplot"), import("uplot/dist/uPlot.min.css")]);
  const style = getComputedStyle(element);
  const read = (name: string): string => style.getPropertyValue(name).trim();
  const axis = {
    stroke: read("--ink-soft"),
    grid: { stroke: read("--rule-soft"), width: 1 },
    ticks: { stroke: read("--rule"), width: 1 },
    font: `12px ${read("--place")}`,
  };
  const chart = new Chart(
    {
      width: Math.max(240, element.clientWidth),
      height: HEIGHT,
      cursor: { y: false },
      legend: { live: true },
      scales: { x: { time: false }, rate: { range: fromZero }, lost: { range: fromZero } },
      axes: [
        { ...axis, values: (_chart, values) => values.map((value) => `${value} s`) },
        { ...axis, scale: "rate", values: (_chart, values) => values.map((value) => `${value} Mbit/s`), size: 74 },
        {
          ...axis,
          scale: "lost",
          side: 1,
          grid: { show: false },
          values: (_chart, values) => values.map(String),
          size: 46,
        },
      ],
      series: [
        { label: "second" },
        { label: "rate, Mbit/s", scale: "rate", stroke: read("--dye"), width: 2, spanGaps: false },
        {
          label: "lost packets",
          scale: "lost",
          stroke: read("--ink"),
          width: 1.5,
          dash: [4, 3],
          points: { show: true, size: 4 },
          spanGaps: false,
        },
      ],
    },
    dataOf(series),
    element,
  );
  const observer = new ResizeObserver(() =>
    chart.setSize({ width: Math.max(240, element.clientWidth), height: HEIGHT }),
  );
  observer.observe(element);
  return {
    update: (next) => chart.setData(dataOf(next)),
    destroy: () => {
      observer.disconnect();
      chart.destroy();
    },
  };
}

const fromZero = (_chart: unknown, _least: number | null, most: number | null): [number, number] => [
  0,
  Math.max(1, (most ?? 0) * 1.1),
];

function dataOf({ from, figures }: LiveSeries): [number[], (number | null)[], (number | null)[]] {
  return [
    figures.map((_, index) => from + index),
    figures.map((one) => (one === null ? null : Number((one.rateBps / 1e6).toPrecision(4)))),
    figures.map((one) => one?.lost ?? null),
  ];
}
