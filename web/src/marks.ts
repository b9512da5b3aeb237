// What findings show in a picture: forms first, colour second (docs/look.md). Everything is drawn from beam coordinates
// by a mapping to the canvas, so the same code serves the fan, the straightened picture and the tiles.
import { statement } from "./state";
import type { Clip, Evidence, Finding, Reading } from "./types";

export type Mapping = (beam: number, depth: number) => { x: number; y: number };

type Form = "line" | "dashes" | "flanks" | "rib" | "box";
const groups: { form: Form; colour: string; codes: string[] }[] = [
  { form: "rib", colour: "--colour-mark-rib", codes: ["rib_share"] },
  { form: "flanks", colour: "--colour-mark-b", codes: ["b_line_count", "b_lines", "b_line_coverage", "white_lung"] },
  { form: "dashes", colour: "--colour-mark-a", codes: ["a_line_count", "a_lines", "a_line_spacing"] },
  { form: "line", colour: "--colour-mark-pleura", codes: ["pleura_depth", "pleura_depth_mm"] },
  { form: "box", colour: "--colour-mark-other", codes: ["effusion", "effusion_depth_mm"] },
  { form: "box", colour: "--colour-mark-other", codes: ["consolidation", "consolidation_extent_mm"] },
  { form: "box", colour: "--colour-mark-other", codes: ["air_bronchogram", "air_bronchogram_moving"] },
  { form: "box", colour: "--colour-mark-other", codes: ["fluid_bronchogram"] },
  { form: "box", colour: "--colour-mark-other", codes: ["organ", "curtain"] },
  { form: "box", colour: "--colour-mark-other", codes: ["spine"] },
  { form: "box", colour: "--colour-mark-other", codes: ["mirror_image"] },
  { form: "box", colour: "--colour-mark-other", codes: ["fluid_colour", "vessel_colour", "colour_toward"] },
  { form: "box", colour: "--colour-mark-other", codes: ["lung_point"] },
];

const colours = new Map<string, string>();
export function colour(name: string): string {
  let value = colours.get(name);
  if (!value) {
    value = getComputedStyle(document.documentElement).getPropertyValue(name).trim();
    if (value) colours.set(name, value);
  }
  return value;
}

const here = (e: Evidence, frame: number): boolean => e.frames[0] <= frame && frame <= e.frames[1];

function path(c: CanvasRenderingContext2D, map: Mapping, b0: number, d0: number, b1: number, d1: number, move = true): void {
  const steps = b0 === b1 ? 1 : 14;
  for (let i = 0; i <= steps; i++) {
    const p = map(b0 + (b1 - b0) * i / steps, d0 + (d1 - d0) * i / steps);
    if (i === 0 && move) c.moveTo(p.x, p.y); else c.lineTo(p.x, p.y);
  }
}

function outline(c: CanvasRenderingContext2D, map: Mapping, e: Evidence, form: Form): void {
  const [b0, b1] = e.beams, [d0, d1] = e.depths, middle = (d0 + d1) / 2;
  c.beginPath();
  if (e.line && e.line.length > 1) {
    e.line.forEach(([beam, depth], i) => {
      const p = map(beam, depth), before = i ? e.line![i - 1]! : null;
      if (!before || beam - before[0] > 0.06 || beam < before[0] || Math.abs(depth - before[1]) > 0.025) c.moveTo(p.x, p.y);
      else c.lineTo(p.x, p.y);
    });
  } else if (form === "line" || form === "dashes") path(c, map, b0, middle, b1, middle);
  else if (form === "flanks") {
    path(c, map, b0, d1, b0, d0);
    path(c, map, b0, d0, b1, d0, false);
    path(c, map, b1, d0, b1, d1, false);
  } else if (form === "rib") {
    path(c, map, b0, d0, b1, d0);
    path(c, map, b0, d0, b0, d1);
    path(c, map, b1, d0, b1, d1);
  } else {
    path(c, map, b0, d0, b1, d0);
    path(c, map, b1, d0, b1, d1, false);
    path(c, map, b1, d1, b0, d1, false);
    path(c, map, b0, d1, b0, d0, false);
  }
}

const grouped = new Set(groups.flatMap(group => group.codes));
const placeOf = (e: Evidence): string => `${e.beams.join()} ${e.depths.join()} ${e.line?.length ?? 0}`;

export function drawMarks(c: CanvasRenderingContext2D, map: Mapping, reading: Reading | null | undefined, frame: number, width: number, chosen = ""): void {
  if (!reading) return;
  const drawn = new Set<string>();
  for (const group of groups) {
    const shown = group.codes.map(code => reading.findings.find(f => f.finding === code)).find(f => f?.evidence.some(e => here(e, frame)) &&
      (group.form !== "box" || f.finding === chosen || f.known && f.answer !== "absent" && f.answer !== "uncertain")); // where one looked and saw none is shown on asking
    if (shown) drawOne(c, map, shown, group.form, group.colour, frame, width, drawn);
  }
  // whatever else the reading holds with a place in this frame: what is there, and the number in hand, once a place
  for (const finding of reading.findings)
    if (!grouped.has(finding.finding) && (finding.finding === chosen || finding.answer === "present" || finding.kind === "count" && (finding.value ?? 0) > 0) && finding.evidence.some(e => here(e, frame) && !drawn.has(placeOf(e))))
      drawOne(c, map, finding, finding.evidence.every(e => e.depths[1] - e.depths[0] < 0.012) ? "line" : "box", "--colour-mark-other", frame, width, drawn);
}

function drawOne(c: CanvasRenderingContext2D, map: Mapping, shown: Finding, form: Form, ink: string, frame: number, width: number, drawn: Set<string>): void {
  const unsure = !shown.known || shown.answer === "uncertain";
  for (const e of shown.evidence) {
    if (!here(e, frame) || drawn.has(placeOf(e))) continue;
    drawn.add(placeOf(e));
    const dots = form === "dashes" ? [7 * width, 5 * width] : unsure || form === "rib" ? [1.5 * width, 3 * width] : [];
    outline(c, map, e, form);
    c.lineJoin = "round";
    c.setLineDash([]);
    if (!dots.length) { // a dark seam, so that it reads on bright echoes
      c.strokeStyle = "rgba(11,16,18,.75)";
      c.lineWidth = width * 2.6;
      c.stroke();
    }
    c.setLineDash(dots);
    c.strokeStyle = colour(ink);
    c.lineWidth = width * 1.3;
    c.stroke();
    c.setLineDash([]);
  }
}

/** Places the clinician marked: a cross in a ring, so that it differs from the program's by form. */
export function drawOwn(c: CanvasRenderingContext2D, map: Mapping, clip: Clip, codes: string[], frame: number, scale: number): void {
  for (const code of codes)
    for (const place of statement(clip.where, code)?.place ?? []) {
      if (Math.abs(place.frame - frame) > 2) continue;
      const p = map(place.beam, place.depth), r = 6 * scale;
      for (const [ink, width] of [["rgba(11,16,18,.8)", 4], [colour("--colour-mark-other"), 1.6]] as const) {
        c.beginPath();
        c.arc(p.x, p.y, r, 0, 7);
        for (const [x, y] of [[r, 0], [-r, 0], [0, r], [0, -r]] as const) { c.moveTo(p.x + x * 0.5, p.y + y * 0.5); c.lineTo(p.x + x * 1.5, p.y + y * 1.5); }
        c.strokeStyle = ink;
        c.lineWidth = width * scale;
        c.stroke();
      }
    }
}

const shares: Record<string, number> = {
  b_lines: 0.3, b_line_count: 0.45, a_lines: 0.65, b_line_coverage: 0.65, a_line_count: 0.78, a_line_spacing: 0.9, rib_share: 0.02,
};

/** Where the thread of a finding ends in a frame; null when it shows nothing there. */
export function threadEnd(finding: Finding, frame: number): { beam: number; depth: number } | null {
  let chosen: Evidence | null = null;
  for (const e of finding.evidence) {
    if (!here(e, frame)) continue;
    if (!chosen || (finding.finding === "a_line_count" ? e.depths[0] > chosen.depths[0] : !e.line?.length && e.beams[1] > chosen.beams[1]))
      chosen = e;
  }
  if (!chosen) return null;
  const share = shares[finding.finding] ?? 0.55;
  if (chosen.line?.length) {
    const point = chosen.line[Math.floor(share * (chosen.line.length - 1))]!;
    return { beam: point[0], depth: point[1] };
  }
  const [b0, b1] = chosen.beams, [d0, d1] = chosen.depths;
  return d1 - d0 < 0.1 ? { beam: b0 + share * (b1 - b0), depth: (d0 + d1) / 2 } : { beam: (b0 + b1) / 2, depth: d0 + share * (d1 - d0) };
}

/** A frame that shows the finding: the present one if it does, else the first of its evidence. */
export function frameOf(finding: Finding, frame: number): number | null {
  if (!finding.evidence.length) return null;
  if (finding.evidence.some(e => here(e, frame))) return frame;
  return finding.evidence[0]!.frames[0];
}
