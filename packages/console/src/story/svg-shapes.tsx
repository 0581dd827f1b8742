import type { Shape } from "@dyetrace/measure";

/** The shapes of a picture as elements of an SVG. */
export function SvgShapes({ shapes }: { readonly shapes: readonly Shape[] }) {
  return (
    <>
      {shapes.map(({ tag: Tag, attributes, title, text, children }, index) => (
        <Tag key={index} {...attributes}>
          {title !== undefined && <title>{title}</title>}
          {text}
          {children !== undefined && <SvgShapes shapes={children} />}
        </Tag>
      ))}
    </>
  );
}
