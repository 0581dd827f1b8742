import { ON_THE_WAY_S } from "../state/live-history.ts";
import type { GridLayout } from "./grid-layout.ts";

/** Colours and faces, read from the page's style once per drawing. */
export interface GridInks {
  readonly ink: string;
  readonly soft: string;
  /** For writing that is not the matter itself. */
  readonly quiet: string;
  readonly rule: string;
  readonly bed: string;
  readonly dye: string;
  readonly iron: string;
  readonly ground: string;
  readonly placeFont: string;
  readonly waterFont: string;
  readonly timeFont: string;
}

export const STRIP_HEIGHT = 18;
const HATCH_WIDTH = 8;

const LEVELS: Readonly<Record<string, number>> = { "1": 0.82, "2": 0.62, "3": 0.42, "4": 0.22 };

/** Draws marks: gathers those of one colour, so that thousands of them are filled with a few calls. */
export class StripBrush {
  readonly #context: CanvasRenderingContext2D;
  readonly #inks: GridInks;
  readonly #layout: Pick<GridLayout, "seconds" | "secondWidth">;
  readonly #beds = new Path2D();
  readonly #dye = new Path2D();
  readonly #ink = new Path2D();
  readonly #soft = new Path2D();
  readonly #iron = new Path2D();

  constructor(context: CanvasRenderingContext2D, inks: GridInks, layout: Pick<GridLayout, "seconds" | "secondWidth">) {
    this.#context = context;
    this.#inks = inks;
    this.#layout = layout;
  }

  /** @param strip null where nothing has been told */
  strip(
    x: number,
    y: number,
    strip: { readonly from: number; readonly marks: string } | null,
    { lastSecond, latestSecond }: { readonly lastSecond: number; readonly latestSecond: number },
  ): void {
    const { seconds, secondWidth } = this.#layout;
    const first = lastSecond - seconds + 1;
    // Runs of equal marks are drawn as one: most strips are one run.
    let runStart = first;
    let runMark = this.#markAt(strip, first, latestSecond);
    for (let second = first + 1; second <= lastSecond + 1; second++) {
      const mark = second > lastSecond ? "" : this.#markAt(strip, second, latestSecond);
      if (mark === runMark) continue;
      if (runMark !== "") this.#run(runMark, x + (runStart - first) * secondWidth, y, second - runStart);
      runStart = second;
      runMark = mark;
    }
  }

  /** Before the run there is nothing; the newest seconds may still be on their way. */
  #markAt(
    strip: { readonly from: number; readonly marks: string } | null,
    second: number,
    latestSecond: number,
  ): string {
    if (second < 0 || second > latestSecond) return "";
    const mark = strip?.marks[second - strip.from] ?? " ";
    return mark === " " && second > latestSecond - ON_THE_WAY_S ? "" : mark;
  }

  #run(mark: string, x: number, y: number, seconds: number): void {
    const { secondWidth } = this.#layout;
    const width = seconds * secondWidth;
    const each = (draw: (at: number) => void): void => {
      for (let index = 0; index < seconds; index++) draw(x + index * secondWidth);
    };
    const bottom = y + STRIP_HEIGHT;
    switch (mark) {
      case "f":
        this.#dye.rect(x, y, width, STRIP_HEIGHT);
        break;
      case "1":
      case "2":
      case "3":
      case "4": {
        this.#beds.rect(x, y, width, STRIP_HEIGHT);
        const height = STRIP_HEIGHT * (LEVELS[mark] ?? 0.3);
        this.#dye.rect(x, bottom - height, width, height);
        each((at) => this.#ink.rect(at + secondWidth / 2 - 1, y - 4, 2, 3)); // a drop that was lost
        break;
      }
      case "-":
        each((at) => {
          this.#ink.rect(at, y, secondWidth - 1.5, 2);
          this.#ink.rect(at, bottom - 2, secondWidth - 1.5, 2);
        });
        break;
      case "b": // it comes as far as the host, which bars it
        this.#dye.rect(x, y, width, 5);
        each((at) => {
          this.#ink.rect(at, y + 6, secondWidth, 3);
          this.#ink.rect(at, bottom - 2, secondWidth - 1.5, 2);
        });
        break;
      case ".":
        this.#soft.rect(x, bottom - 1, width, 1);
        break;
      case "s":
        each((at) => this.#iron.ellipse(at + secondWidth / 2, y + STRIP_HEIGHT / 2, secondWidth / 2 - 0.4, 5, 0, 0, 7));
        break;
      case "d":
        this.#soft.rect(x, y + STRIP_HEIGHT / 2 - 1, width, 2);
        break;
      case "o":
        each((at) => this.#soft.rect(at + secondWidth / 2 - 0.5, bottom - 1, 1, 1));
        break;
      case "u": // not joined, as "o", and it can't see
        each((at) => {
          this.#soft.rect(at + secondWidth / 2 - 0.5, bottom - 1, 1, 1);
          this.#soft.rect(at + secondWidth / 2 - 0.5, y + STRIP_HEIGHT / 2 - 2, 1, 4);
        });
        break;
      case "n": // something comes, of which the rest is not known
        this.#beds.rect(x, y, width, STRIP_HEIGHT);
        each((at) => this.#hatch(at, y));
        break;
      default: // no news
        each((at) => this.#hatch(at, y));
    }
  }

  /** One second: a slash, or where a second is wide as many as make the same hatching. */
  #hatch(x: number, y: number): void {
    const { secondWidth } = this.#layout;
    const slashes = Math.max(1, Math.round(secondWidth / HATCH_WIDTH));
    const width = secondWidth / slashes;
    for (let slash = 0; slash < slashes; slash++) {
      const left = x + slash * width;
      this.#soft.moveTo(left, y + STRIP_HEIGHT);
      this.#soft.lineTo(left + 1.2, y + STRIP_HEIGHT);
      this.#soft.lineTo(left + width, y);
      this.#soft.lineTo(left + width - 1.2, y);
      this.#soft.closePath();
    }
  }

  paint(): void {
    for (const [path, ink] of [
      [this.#beds, this.#inks.bed],
      [this.#dye, this.#inks.dye],
      [this.#iron, this.#inks.iron],
      [this.#soft, this.#inks.soft],
      [this.#ink, this.#inks.ink],
    ] as const) {
      this.#context.fillStyle = ink;
      this.#context.fill(path);
    }
  }
}
