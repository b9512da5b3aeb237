// Where in the picture the beams lie: the same mapping as src/view/view.h, for the frames that were sent.
import type { FramesHead, View } from "./types";

export interface Point { x: number; y: number }

export const in01 = (v: number): number => Math.min(1, Math.max(0, v));

/** Pixel of the full picture at beam and depth, each 0 to 1. */
export function toPixel(view: View, beam: number, depth: number): Point {
  if (view.shape === "linear")
    return { x: view.first_x! + beam * (view.last_x! - view.first_x!), y: view.near_y! + depth * (view.far_y! - view.near_y!) };
  const angle = view.first_angle_rad! + beam * (view.last_angle_rad! - view.first_angle_rad!);
  const r = view.near_r! + depth * (view.far_r! - view.near_r!);
  return { x: view.apex_x! + r * Math.sin(angle), y: view.apex_y! + r * Math.cos(angle) / view.aspect };
}

export function fromPixel(view: View, x: number, y: number): { beam: number; depth: number } {
  if (view.shape === "linear")
    return { beam: (x - view.first_x!) / (view.last_x! - view.first_x!), depth: (y - view.near_y!) / (view.far_y! - view.near_y!) };
  const dx = x - view.apex_x!, dy = (y - view.apex_y!) * view.aspect;
  return {
    beam: (Math.atan2(dx, dy) - view.first_angle_rad!) / (view.last_angle_rad! - view.first_angle_rad!),
    depth: (Math.hypot(dx, dy) - view.near_r!) / (view.far_r! - view.near_r!),
  };
}

/** The same in shares of the frames sent: 0, 0 is the upper left corner. */
export function toShare(head: FramesHead, view: View, beam: number, depth: number): Point {
  const p = toPixel(view, beam, depth);
  return { x: ((p.x + 0.5 - head.x0) / head.step) / head.width, y: ((p.y + 0.5 - head.y0) / head.step) / head.height };
}
export function fromShare(head: FramesHead, view: View, x: number, y: number): { beam: number; depth: number } {
  return fromPixel(view, x * head.width * head.step + head.x0 - 0.5, y * head.height * head.step + head.y0 - 0.5);
}

/** Width over height at which the picture is drawn true to shape. */
export function trueAspect(head: FramesHead, view: View | null): number {
  return head.width / (head.height * (view?.aspect ?? 1));
}

/** Width over height of the straightened picture that is true in the middle of the depth. */
export function straightAspect(view: View): number {
  const across = view.shape === "linear" ? view.last_x! - view.first_x!
    : (view.last_angle_rad! - view.first_angle_rad!) * (view.near_r! + 0.4 * (view.far_r! - view.near_r!));
  const along = view.shape === "linear" ? (view.far_y! - view.near_y!) * view.aspect : view.far_r! - view.near_r!;
  return Math.min(1.4, Math.max(0.45, across / along));
}

export const known = (view: View | undefined | null): view is View => !!view && view.shape !== "unknown";
