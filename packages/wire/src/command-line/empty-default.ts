/** What the parser says of an option, less a default that says nothing: no values, and not set. */
export const withoutEmptyDefault = (description: string): string =>
  description.replace(/ \(default: (?:\[\]|false)\)$/, "");
