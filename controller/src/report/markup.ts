/** Text that is HTML or XML already. Everything else that is put into a template is escaped. */
export class Markup {
  readonly text: string;

  constructor(text: string) {
    this.text = text;
  }
}

type Piece = string | number | Markup | null | undefined | readonly Piece[];

/** Tagged template for HTML and XML: values are escaped, lists are joined, null is left out. */
export function markup(parts: TemplateStringsArray, ...values: readonly Piece[]): Markup {
  return new Markup(parts.map((part, index) => `${index === 0 ? "" : render(values[index - 1])}${part}`).join(""));
}

function render(piece: Piece): string {
  if (piece === null || piece === undefined) return "";
  if (piece instanceof Markup) return piece.text;
  if (typeof piece === "object") return piece.map(render).join("");
  return escapeText(String(piece));
}

export const escapeText = (text: string): string =>
  Array.from(text, (character) => (isXmlCharacter(character.codePointAt(0) ?? 0) ? character : "\ufffd"))
    .join("")
    .replaceAll("&", "&amp;")
    .replaceAll("<", "&lt;")
    .replaceAll(">", "&gt;")
    .replaceAll('"', "&quot;")
    .replaceAll("'", "&#39;");

/** XML 1.0, section 2.2; a lone surrogate is none either. */
const isXmlCharacter = (code: number): boolean =>
  code === 0x9 ||
  code === 0xa ||
  code === 0xd ||
  (code >= 0x20 && code <= 0xd7ff) ||
  (code >= 0xe000 && code <= 0xfffd) ||
  code >= 0x10000;
