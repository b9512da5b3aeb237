import { signal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { draft, drawBorders, held as heldBorder, open as bordersOpen, reachBorder, setPoint, told } from "./border_hand";
import { addPoint, curve, held, line, movePoint, placesOf, reach, shiftLine, takePoint } from "./line";
import { follow } from "./dragging";
import { fromShare, in01, known, straightAspect, toShare, trueAspect } from "./geometry";
import { colour, drawMarks, drawOwn, type Mapping } from "./marks";
import { painterFor, type Display, type Painter } from "./painter";
import { drawMeasured, measured } from "./measure";
import { chosen } from "./numbers";
import type { Player } from "./player";
import { entries, marksOn, theme } from "./state";
import type { Clip, View } from "./types";

export const display = signal<Display>({ gain: 0, contrast: 1 });
export const placing = signal<((beam: number, depth: number) => void) | null>(null);

const firstShown = new Set<string>();

/** One picture of the clip at the player's time: as it is, or straightened. */
export function Picture({ clip, player, straight, name, label, withLine = true, codes }: {
  clip: Clip; player: Player; straight: boolean; name: string; label: string; withLine?: boolean; codes: string[];
}) {
  const box = useRef<HTMLDivElement>(null), canvas = useRef<HTMLCanvasElement>(null), over = useRef<HTMLCanvasElement>(null);
  const view: View | null = known(clip.view) ? clip.view : null;
  useEffect(() => {
    const sheet = canvas.current!, marks = over.current!, room = box.current!;
    let painter: Painter | null = null, fitted = "", drawn = -1, shownDisplay: Display | null = null;
    const fit = (): boolean => {
      const head = player.frames.head;
      if (!head) return false;
      const aspect = straight && view ? straightAspect(view) : trueAspect(head, view);
      const width = Math.min(room.clientWidth, room.clientHeight * aspect), height = width / aspect;
      const scale = Math.min(2, devicePixelRatio || 1), size = `${Math.round(width)} ${Math.round(height)} ${scale}`;
      if (size === fitted) return true;
      fitted = size;
      drawn = -1;
      for (const one of [sheet, marks]) {
        one.style.width = `${Math.round(width)}px`;
        one.style.height = `${Math.round(height)}px`;
        one.width = Math.max(1, Math.round(width * scale));
        one.height = Math.max(1, Math.round(height * scale));
      }
      if (!painter) {
        painter = painterFor(sheet);
        painter.setUp(head, view, straight);
        sheet.dataset["painter"] = painter.kind;
      }
      return true;
    };
    const draw = (): void => {
      const head = player.frames.head, picture = player.frames.pictures[player.position];
      if (!fit() || !head || !picture || !painter) return;
      if (drawn !== player.position || shownDisplay !== display.value) {
        painter.draw(picture, display.value);
        drawn = player.position;
        shownDisplay = display.value;
        sheet.dataset["frame"] = String(player.index);
        if (!firstShown.has(clip.id)) { firstShown.add(clip.id); performance.mark(`first-picture ${clip.id}`); }
      }
      const c = marks.getContext("2d")!, w = marks.width, h = marks.height, scale = w / Math.max(1, marks.clientWidth);
      c.clearRect(0, 0, w, h);
      if (!view || !marksOn.value) return;
      const map: Mapping = straight ? (beam, depth) => ({ x: beam * w, y: depth * h })
        : (beam, depth) => { const p = toShare(head, view, beam, depth); return { x: p.x * w, y: p.y * h }; };
      drawMarks(c, map, clip.reading, player.index, scale, chosen.value);
      drawOwn(c, map, clip, codes, player.index, scale);
      drawMeasured(c, map, clip, player.index, scale);
      if (withLine) drawBorders(c, map, clip, player.index, scale);
      if (withLine) drawLine(c, map, clip, scale);
    };
    const off = [player.on(draw), display.subscribe(draw), line.subscribe(draw), curve.subscribe(draw), held.subscribe(draw), draft.subscribe(draw), heldBorder.subscribe(draw), bordersOpen.subscribe(draw), told.subscribe(draw), marksOn.subscribe(draw), entries.subscribe(draw), measured.subscribe(draw), chosen.subscribe(draw), theme.subscribe(draw)];
    const watcher = new ResizeObserver(draw);
    watcher.observe(room);
    const wheel = (event: WheelEvent): void => { // scrubs; not passive, so that the page stays where it is
      if (event.ctrlKey) return;
      event.preventDefault();
      player.pause();
      player.step(Math.sign(event.deltaY || event.deltaX));
    };
    room.addEventListener("wheel", wheel, { passive: false });
    return () => { off.forEach(one => one()); watcher.disconnect(); room.removeEventListener("wheel", wheel); };
  }, [clip, player, straight, codes.join()]);

  useEffect(() => {
    const sheet = canvas.current!;
    return () => { // a browser gives a few contexts only: this one goes with its picture
      if (sheet.dataset["painter"] === "webgl") sheet.getContext("webgl2")?.getExtension("WEBGL_lose_context")?.loseContext();
    };
  }, []);
  const beamDepth = (event: MouseEvent): { beam: number; depth: number } | null => {
    const head = player.frames.head, rect = over.current!.getBoundingClientRect();
    if (!view || !head) return null;
    const x = (event.clientX - rect.left) / rect.width, y = (event.clientY - rect.top) / rect.height;
    return straight ? { beam: x, depth: y } : fromShare(head, view, x, y);
  };
  const down = (event: PointerEvent): void => {
    if (event.button) return;
    const at = beamDepth(event), rect = over.current!.getBoundingClientRect();
    if (placing.value && at) {
      const place = placing.value;
      placing.value = null;
      place(in01(at.beam), in01(at.depth));
      return;
    }
    const from = player.position, x0 = event.clientX, before = line.value;
    const border = withLine && at ? reachBorder(clip, player.index, at, 14 / rect.height) : -1, at0 = border >= 0 ? player.index : 0;
    const handle = withLine && at && border < 0 ? reach(clip.id, at, 16 / rect.width, 16 / rect.height) : null;
    if (handle) held.value = "point" in handle ? handle.point : -1;
    player.pause();
    follow(event, next => {
      if (border >= 0) {
        const to = beamDepth(next);
        if (to) setPoint(clip, border, at0, to.depth);
      } else if (handle) {
        const to = beamDepth(next);
        if (to && "point" in handle) movePoint(handle.point, { beam: before[handle.point]!.beam + to.beam - at!.beam, depth: before[handle.point]!.depth + to.depth - at!.depth });
        else if (to) shiftLine(before, to.beam - at!.beam, to.depth - at!.depth);
      } else player.show(from + (next.clientX - x0) / rect.width * player.count);
    });
  };
  const twice = (event: MouseEvent): void => { // a point more, or one less
    const at = withLine && view && !placing.value ? beamDepth(event) : null, rect = over.current!.getBoundingClientRect();
    const handle = at ? reach(clip.id, at, 16 / rect.width, 16 / rect.height) : null;
    if (handle && "point" in handle) takePoint(handle.point);
    else if (handle) addPoint(handle.after, view!, at!);
  };
  return <figure class={`one-picture ${placing.value ? "one-picture-placing" : ""}`} data-picture={name}>
    <div class="room watch-size" ref={box} onPointerDown={down} onDblClick={twice}>
      <canvas ref={canvas} role="img" aria-label={label} /><canvas ref={over} class="over" aria-hidden="true" />
    </div>
  </figure>;
}

function drawLine(c: CanvasRenderingContext2D, map: Mapping, clip: Clip, scale: number): void {
  const points = line.value;
  let places = placesOf(clip.id);
  if (places.length === 2) // until its curve comes: straight in beam and depth
    places = Array.from({ length: 25 }, (_, i): [number, number] => [places[0]![0] + (places[1]![0] - places[0]![0]) * i / 24, places[0]![1] + (places[1]![1] - places[0]![1]) * i / 24]);
  c.beginPath();
  places.forEach(([beam, depth], i) => {
    const p = map(beam, depth);
    if (i) c.lineTo(p.x, p.y); else c.moveTo(p.x, p.y);
  });
  c.setLineDash([2 * scale, 4 * scale]);
  c.strokeStyle = colour("--colour-mark-other");
  c.lineWidth = scale;
  c.stroke();
  c.setLineDash([]);
  points.forEach((one, i) => {
    const p = map(one.beam, Math.min(0.985, Math.max(0.015, one.depth))), mine = held.value === i;
    c.fillStyle = mine ? colour("--colour-mark-other") : "rgba(11,16,18,.85)";
    c.strokeStyle = mine ? "rgba(11,16,18,.85)" : colour("--colour-mark-other");
    c.lineWidth = 1.4 * scale;
    c.beginPath();
    c.rect(p.x - 4 * scale, p.y - 4 * scale, 8 * scale, 8 * scale);
    c.fill();
    c.stroke();
    if (points.length < 3 && !mine) return;
    c.font = `${10 * scale}px "DejaVu Sans"`;
    c.lineWidth = 3 * scale;
    c.strokeStyle = "rgba(11,16,18,.85)";
    c.strokeText(String(i + 1), p.x + 7 * scale, p.y + 4 * scale);
    c.fillStyle = colour("--colour-mark-other");
    c.fillText(String(i + 1), p.x + 7 * scale, p.y + 4 * scale);
  });
}
