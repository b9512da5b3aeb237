import { useEffect, useRef } from "preact/hooks";
import { address } from "./api";
import { drawMarks } from "./marks";
import { exam, marksOn, theme } from "./state";
import type { Clip } from "./types";

/** The straightened picture of a clip with what was found, as it lies in its zone. */
export function TilePicture({ clip, alt }: { clip: Clip; alt: string }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  const marks = marksOn.value, colours = theme.value;
  useEffect(() => {
    const sheet = canvas.current!;
    const draw = (): void => {
      const scale = Math.min(2, devicePixelRatio || 1);
      sheet.width = Math.max(1, sheet.clientWidth * scale);
      sheet.height = Math.max(1, sheet.clientHeight * scale);
      const c = sheet.getContext("2d")!;
      c.clearRect(0, 0, sheet.width, sheet.height);
      if (marks && clip.shown_frame !== undefined)
        drawMarks(c, (beam, depth) => ({ x: beam * sheet.width, y: depth * sheet.height }), clip.reading, clip.shown_frame, scale);
    };
    draw();
    const watcher = new ResizeObserver(draw);
    watcher.observe(sheet);
    return () => watcher.disconnect();
  }, [clip, marks, colours]);
  return <span class="picture">
    <img src={address(`api/exams/${exam.value!.id}/clips/${clip.id}/straightened.jpg`)} alt={alt} draggable={false} />
    <canvas ref={canvas} aria-hidden="true" />
  </span>;
}
