// A distance by hand: two places in one frame, in millimetres with the uncertainty of scale and hand, or in shares of the
// imaged depth where there is no scale.
import { signal } from "@preact/signals";
import { toPixel } from "./geometry";
import { language, t } from "./language";
import { colour, type Mapping } from "./marks";
import { chosen } from "./numbers";
import { placing } from "./picture";
import type { Player } from "./player";
import { state } from "./state";
import type { Clip } from "./types";
import { row } from "./words";

interface Spot { beam: number; depth: number }
export const measured = signal<{ clip: string; frame: number; spots: Spot[] } | null>(null);

/** A hand sets a point to within about this many pixels of the picture (standard deviation): common practice, no source. */
const handPx = 1;

export function measure(clip: Clip, player: Player): void {
  const next = (spots: Spot[]): void => {
    placing.value = (beam, depth) => {
      const all = [...spots, { beam, depth }];
      measured.value = { clip: clip.id, frame: player.index, spots: all };
      if (all.length < 2) next(all); // at once: a hand may be quicker than a timer
    };
  };
  player.pause();
  measured.value = null;
  next([]);
}

/** Length and the half width of its 95 % interval. */
export function length(clip: Clip, spots: Spot[]): { value: number; half: number; unit: "mm" | "share" } | null {
  const view = clip.view;
  if (!view || spots.length < 2) return null;
  const a = toPixel(view, spots[0]!.beam, spots[0]!.depth), b = toPixel(view, spots[1]!.beam, spots[1]!.depth);
  const px = Math.hypot(a.x - b.x, (a.y - b.y) * view.aspect), scale = clip.scale?.mm_per_px ?? null;
  const hand = handPx * Math.SQRT2;
  if (scale === null) {
    const depth = view.shape === "linear" ? (view.far_y! - view.near_y!) * view.aspect : view.far_r! - view.near_r!;
    return { value: px / depth, half: 1.96 * hand / depth, unit: "share" };
  }
  return { value: px * scale, half: 1.96 * Math.hypot(px * (clip.scale?.mm_per_px_sd ?? 0), hand * scale), unit: "mm" };
}

export function drawMeasured(c: CanvasRenderingContext2D, map: Mapping, clip: Clip, frame: number, scale: number): void {
  const m = measured.value;
  if (!m || m.clip !== clip.id || Math.abs(m.frame - frame) > 2) return;
  const points = m.spots.map(spot => map(spot.beam, spot.depth));
  for (const [ink, width] of [["rgba(11,16,18,.8)", 4], [colour("--colour-mark-other"), 1.5]] as const) {
    c.strokeStyle = ink;
    c.lineWidth = width * scale;
    c.beginPath();
    points.forEach((p, i) => { if (i) c.lineTo(p.x, p.y); else c.moveTo(p.x, p.y); });
    for (const p of points) { c.moveTo(p.x - 5 * scale, p.y); c.lineTo(p.x + 5 * scale, p.y); c.moveTo(p.x, p.y - 5 * scale); c.lineTo(p.x, p.y + 5 * scale); }
    c.stroke();
  }
}

export function Measured({ clip, player }: { clip: Clip; player: Player }) {
  void language.value;
  const m = measured.value?.clip === clip.id ? measured.value : null, told = m ? length(clip, m.spots) : null, info = row(chosen.value);
  const fits = told?.unit === "mm" && info?.unit === "mm";
  const enter = (): void => {
    const round = (v: number): number => Math.round(v * 10) / 10;
    state(clip.where, chosen.value, { known: true, value: round(told!.value), low: round(Math.max(0, told!.value - told!.half)), high: round(told!.value + told!.half),
      place: m!.spots.map(spot => ({ frame: m!.frame, time_s: null, beam: spot.beam, depth: spot.depth })) });
  };
  return <span class="measured">
    <button class="plain" onClick={() => measure(clip, player)}>{placing.value && !told ? t("touch two places in the picture") : t("measure a distance")}</button>
    {told && <output>{told.unit === "mm" ? `${told.value.toFixed(1)} mm (${Math.max(0, told.value - told.half).toFixed(1)} ${t("to")} ${(told.value + told.half).toFixed(1)})`
      : `${(told.value * 100).toFixed(1)} % ${t("of the imaged depth")} ± ${(told.half * 100).toFixed(1)}`}</output>}
    {fits && <button class="plain" onClick={enter}>{t("enter as")} {t(info.name)}</button>}
    {m && <button class="plain" onClick={() => { measured.value = null; placing.value = null; }}>{t("away with it")}</button>}
  </span>;
}
