// The line of the motion trace: its points, set by hand, and the smooth curve through them, which the server works out
// (src/view/motion_trace.h) and gives back with the trace.
import { signal } from "@preact/signals";
import { fromPixel, in01, toPixel } from "./geometry";
import type { View } from "./types";

export interface Spot { beam: number; depth: number }
export const mostPoints = 16; // SL_TRACE_POINTS_MOST

const middle: Spot[] = [{ beam: 0.5, depth: 0 }, { beam: 0.5, depth: 1 }];
export const line = signal<Spot[]>(middle);
/** The point in hand, -1 none. */
export const held = signal(-1);
/** Places of the curve of a clip, and the points that it was asked for. */
export const curve = signal<{ clip: string; of: Spot[]; places: [number, number][] } | null>(null);

export function movePoint(i: number, to: Spot): void {
  line.value = line.value.map((one, k) => k === i ? { beam: in01(to.beam), depth: in01(to.depth) } : one);
}

/** The whole line as it is, as far as the picture reaches. */
export function shiftLine(from: Spot[], beam: number, depth: number): void {
  const room = (by: number, all: number[]): number => Math.min(1 - Math.max(...all), Math.max(-Math.min(...all), by));
  const db = room(beam, from.map(one => one.beam)), dd = room(depth, from.map(one => one.depth));
  line.value = from.map(one => ({ beam: in01(one.beam + db), depth: in01(one.depth + dd) }));
}

/** A point after point `i`, at `at`, or halfway to the next (before, after the last). */
export function addPoint(i: number, view: View, at?: Spot): void {
  const points = line.value;
  if (points.length >= mostPoints) return;
  const k = Math.min(Math.max(i, 0), points.length - 2), a = points[k]!, b = points[k + 1]!;
  if (!at) {
    const p = toPixel(view, a.beam, a.depth), q = toPixel(view, b.beam, b.depth);
    at = fromPixel(view, (p.x + q.x) / 2, (p.y + q.y) / 2);
  }
  line.value = [...points.slice(0, k + 1), { beam: in01(at.beam), depth: in01(at.depth) }, ...points.slice(k + 1)];
  held.value = k + 1;
}

export function takePoint(i: number): void {
  if (line.value.length <= 2 || i < 0 || i >= line.value.length) return;
  line.value = line.value.filter((_, k) => k !== i);
  held.value = Math.min(i, line.value.length - 1);
}

export function straighten(): void {
  held.value = -1;
  line.value = middle;
}

/** Where the line runs, for drawing and for the hand: the curve, or its points where no curve of this clip is there. */
export function placesOf(clip: string): [number, number][] {
  return curve.value?.clip === clip ? curve.value.places : line.value.map(one => [one.beam, one.depth]);
}

const nearest = (places: [number, number][], at: Spot, rx: number, ry: number): { i: number; far: number } => {
  let best = { i: 0, far: Infinity };
  places.forEach(([beam, depth], i) => {
    const far = Math.hypot((beam - at.beam) / rx, (depth - at.depth) / ry);
    if (far < best.far) best = { i, far };
  });
  return best;
};

/** What of the line lies within reach of a hand: one of its points, or the line itself. */
export function reach(clip: string, at: Spot, rx: number, ry: number): { point: number } | { after: number } | null {
  const points = line.value;
  const point = nearest(points.map(one => [one.beam, one.depth]), at, rx, 1.5 * ry);
  if (point.far < 1) return { point: point.i };
  let places = placesOf(clip);
  if (places.length === points.length) // as corners: fine enough to be found between them
    places = places.flatMap((one, i) => i ? Array.from({ length: 32 }, (_, k): [number, number] => [0, 1].map(c => places[i - 1]![c]! + (one[c]! - places[i - 1]![c]!) * (k + 1) / 32) as [number, number]) : [one]);
  const on = nearest(places, at, rx, ry);
  if (on.far >= 0.7) return null;
  let after = 0;
  points.forEach((one, k) => { if (nearest(places, one, rx, ry).i <= on.i) after = k; });
  return { after: Math.min(after, points.length - 2) };
}
