/** Where the cells of the live grid lie. Pixels of the screen, from the grid's upper left corner. */
export interface GridLayout {
  readonly nameWidth: number;
  readonly headHeight: number;
  readonly rowHeight: number;
  readonly columnWidth: number;
  readonly stripWidth: number;
  readonly secondWidth: number;
  /** Seconds that a strip shows. */
  readonly seconds: number;
  readonly width: number;
  readonly height: number;
}

const ROW_HEIGHT = 34;
/** The stream's name, seconds of the run, the time of day, and ticks. */
const HEAD_HEIGHT = 72;
const COLUMN_GAP = 18;
const LEAST_STRIP = 118;
const LARGEST_STRIP = 1600;
const SECOND = { least: 3, most: 200 };
/** Room for words beside a strip, where there are few columns. */
const WORDS = 225;

/**
 * @param options.width the space there is
 * @param options.kept seconds that are kept at most
 * @param options.lasts seconds that the run takes: a short one is drawn wider
 */
export function layOutGrid(options: {
  readonly rows: number;
  readonly columns: number;
  readonly width: number;
  readonly nameWidth: number;
  readonly kept: number;
  readonly lasts: number;
}): GridLayout & { readonly hasWords: boolean } {
  const columns = Math.max(1, options.columns);
  const share = (options.width - options.nameWidth) / columns - COLUMN_GAP;
  const hasWords = share > LEAST_STRIP + WORDS;
  const room = Math.min(LARGEST_STRIP, Math.max(LEAST_STRIP, hasWords ? share - WORDS : share));
  const secondWidth = Math.min(SECOND.most, Math.max(SECOND.least, Math.floor(room / Math.max(1, options.lasts))));
  const seconds = Math.min(options.kept, Math.floor(room / secondWidth), Math.ceil(Math.max(1, options.lasts)));
  const stripWidth = seconds * secondWidth;
  const columnWidth = stripWidth + COLUMN_GAP + (hasWords ? WORDS : 0);
  return {
    nameWidth: options.nameWidth,
    headHeight: HEAD_HEIGHT,
    rowHeight: ROW_HEIGHT,
    columnWidth,
    stripWidth,
    secondWidth,
    seconds,
    hasWords,
    width: options.nameWidth + columns * columnWidth,
    height: HEAD_HEIGHT + options.rows * ROW_HEIGHT,
  };
}
