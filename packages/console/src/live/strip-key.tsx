import { useLayoutEffect, useRef } from "preact/hooks";
import { inksOf } from "./inks-of.ts";
import { STRIP_HEIGHT, StripBrush } from "./strip-brush.ts";
import { sayMark } from "./strip-words.ts";

const MARKS = ["f", "1", "2", "3", "4", "-", "b", ".", "n", "s", "d", "o", "u", " "] as const;
const SECONDS = 6;
const SECOND_WIDTH = 6;
/** A blank counts as no news only when it is old enough. */
const LONG_AGO = 10;
const SAMPLE = { width: SECONDS * SECOND_WIDTH + 2, height: STRIP_HEIGHT + 8 };

/** What the marks of a strip mean; drawn with the grid's own brush, so that the two never differ. */
export function StripKey() {
  return (
    <section class="key">
      <h3>One mark a second</h3>
      <ul>
        {MARKS.map((mark) => (
          <li key={mark}>
            <MarkSample mark={mark} />
            {sayMark(mark)}
          </li>
        ))}
        <li>
          <span class="sign">▲ ▼</span> the host joined, left
        </li>
        <li>
          <span class="sign">❘</span> a query, above the strips
        </li>
      </ul>
    </section>
  );
}

function MarkSample({ mark }: { readonly mark: string }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  useLayoutEffect(() => {
    const draw = (): void => {
      const element = canvas.current;
      const context = element?.getContext("2d");
      if (element === null || context === null || context === undefined) return;
      const sharpness = Math.min(2, devicePixelRatio);
      element.width = SAMPLE.width * sharpness;
      element.height = SAMPLE.height * sharpness;
      context.setTransform(sharpness, 0, 0, sharpness, 0, 0);
      const brush = new StripBrush(context, inksOf(element), { seconds: SECONDS, secondWidth: SECOND_WIDTH });
      const strip = { from: 0, marks: mark.repeat(SECONDS + LONG_AGO) };
      brush.strip(0, 5, strip, { lastSecond: SECONDS - 1, latestSecond: SECONDS + LONG_AGO - 1 });
      brush.paint();
    };
    draw();
    const night = matchMedia("(prefers-color-scheme: dark)");
    night.addEventListener("change", draw);
    return () => night.removeEventListener("change", draw);
  }, [mark]);
  return <canvas ref={canvas} class="sample" width={SAMPLE.width} height={SAMPLE.height} />;
}
