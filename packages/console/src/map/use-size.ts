import { useLayoutEffect, useState } from "preact/hooks";

/** Below this width the map is a list-like column that scrolls with the page. */
export const NARROW = 640;

/** The element's inner size, followed as it changes. @returns null before it is measured */
export function useSize(element: { readonly current: HTMLElement | null }): { width: number; height: number } | null {
  const [size, setSize] = useState<{ width: number; height: number } | null>(null);
  useLayoutEffect(() => {
    const target = element.current;
    if (target === null) return;
    const measure = (): void => {
      const width = target.clientWidth;
      // A narrow map is as tall as it needs to be: its height must not decide its own layout.
      const height = width < NARROW ? 0 : target.clientHeight;
      setSize((before) => (before?.width === width && before.height === height ? before : { width, height }));
    };
    measure();
    const observer = new ResizeObserver(measure);
    observer.observe(target);
    return () => observer.disconnect();
  }, [element]);
  return size;
}
