/** @returns our sentence and hint for what the YAML library met */
export function explainYamlProblem(
  code: string,
  libraryMessage: string,
): { readonly message: string; readonly hint: string } {
  switch (code) {
    case "TAB_AS_INDENT":
      return {
        message: "This line is indented with a tab",
        hint: "YAML allows spaces only: use two per level",
      };
    case "MULTIPLE_DOCS":
      return {
        message: "A second document begins here",
        hint: "Keep one document per file: remove this `---`",
      };
    case "TAG_RESOLVE_FAILED":
      return {
        message: "Tags (`!name`) are not used in this file",
        hint: "Write the plain value",
      };
    case "MISSING_CHAR":
      return {
        message: "A quotation mark or bracket is not closed before here",
        hint: "Close it",
      };
    case "BAD_INDENT":
      return {
        message: "A bracket is not closed, or this line is not indented like its neighbours",
        hint: "Close the bracket, or line it up",
      };
    case "BLOCK_AS_IMPLICIT_KEY":
      return {
        message: "A second colon makes this value unclear",
        hint: "Quote the value, or put the inner keys on lines of their own",
      };
    default:
      return {
        message: `This is not valid YAML: ${lowerFirst(libraryMessage)}`,
        hint: "Compare the line with the one above it",
      };
  }
}

const lowerFirst = (text: string): string => text.charAt(0).toLowerCase() + text.slice(1);
