// Threads: from each number a thin line to the place it was measured at. Drawn over a container whose own corner is the
// origin, so that scrolling moves nothing.
import { useLayoutEffect, useRef } from "preact/hooks";
import type { RefObject } from "preact";

export interface Thread { id: string; from: DOMRect; to: { x: number; y: number }; strong?: boolean } // client coordinates

/** `threads` is asked again whenever one of `inputs`, or a size, changes; `redraw` lets a player ask without rendering. */
export function Threads({ container, threads, inputs, redraw }: {
  container: RefObject<HTMLElement>; threads: () => Thread[]; inputs: unknown[]; redraw?: { current: () => void };
}) {
  const svg = useRef<SVGSVGElement>(null);
  const ask = useRef(threads);
  ask.current = threads;
  useLayoutEffect(() => {
    let drawn: string | null = null;
    const draw = (): void => {
      const box = container.current?.getBoundingClientRect(), sheet = svg.current;
      if (!box || !sheet) return;
      sheet.setAttribute("viewBox", `0 0 ${box.width} ${box.height}`);
      let text = "";
      const narrow = matchMedia("(max-width: 62rem)").matches; // numbers stand under the pictures: a ring shows the place
      for (const thread of ask.current()) {
        const left = thread.from.left > thread.to.x;
        const x0 = (left ? thread.from.left - 6 : thread.from.right + 6) - box.left, y0 = thread.from.top + thread.from.height / 2 - box.top;
        const x1 = thread.to.x - box.left, y1 = thread.to.y - box.top, bend = (x0 - x1) * 0.42;
        const d = `M${x0.toFixed(1)} ${y0.toFixed(1)}C${(x0 - bend).toFixed(1)} ${y0.toFixed(1)} ${(x1 + bend).toFixed(1)} ${y1.toFixed(1)} ${x1.toFixed(1)} ${y1.toFixed(1)}`;
        text += `<g class="${thread.strong === false ? "faint" : "strong"}">${narrow ? "" : `<path class="seam" d="${d}"/><path class="thread" d="${d}"/>`}<circle class="ring" cx="${x1.toFixed(1)}" cy="${y1.toFixed(1)}" r="3.6"/></g>`;
      }
      if (text === drawn) return;
      drawn = text;
      sheet.innerHTML = text; // numbers only: nothing from files goes in here
    };
    draw();
    if (redraw) redraw.current = draw;
    const watcher = new ResizeObserver(draw);
    if (container.current) for (const one of [container.current, ...container.current.querySelectorAll(".watch-size")]) watcher.observe(one);
    return () => watcher.disconnect();
  }, inputs);
  return <svg ref={svg} class="threads" aria-hidden="true" />;
}
