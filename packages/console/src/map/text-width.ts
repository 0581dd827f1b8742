let context: CanvasRenderingContext2D | null | undefined;

/** Width of a node's name as the map writes it, in pixels. */
export function textWidth(text: string): number {
  if (context === undefined) {
    context = document.createElement("canvas").getContext("2d");
    if (context !== null) {
      const family = getComputedStyle(document.documentElement).getPropertyValue("--place");
      context.font = `500 14px ${family}`;
    }
  }
  return context?.measureText(text).width ?? text.length * 7.5;
}
