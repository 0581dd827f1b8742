/** Of the size that names are written in. */
const NAME_PX = 14;

/**
 * Width of a name as the map writes it, in pixels, at least: a picture that is drawn where no browser is has no fonts to
 * measure. By classes of letters, after the widths of DejaVu Sans Condensed, which is as wide as the map's fonts get.
 */
export function textWidth(text: string): number {
  let ems = 0;
  for (const letter of text) ems += widthOf(letter);
  return ems * NAME_PX;
}

const NARROW = /[ijlI.,:;'|!]/;
const SLIM = /[frt()[\]\-/ ]/;
const WIDE = /[mwMW@%]/;
const CAPITAL = /[A-Z]/;

function widthOf(letter: string): number {
  if (letter > "\u024f") return 1;
  if (NARROW.test(letter)) return 0.29;
  if (SLIM.test(letter)) return 0.36;
  if (WIDE.test(letter)) return 0.86;
  return CAPITAL.test(letter) ? 0.65 : 0.56;
}
