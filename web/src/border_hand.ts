// The diaphragm's borders of the clip that is open: as the program found them, and as a hand moves them with a few points. The server
// works out the path between the points and the figures (src/serve/borders.h); what is kept is an entry of the journal.
import { effect, signal } from "@preact/signals";
import { get, Trouble } from "./api";
import { in01 } from "./geometry";
import { colour, type Mapping } from "./marks";
import { clips, exam, placed, route, signedOut, stands, trouble } from "./state";
import type { Clip, Finding } from "./types";

export type Which = "dome" | "muscle";
export interface BorderPoint { line: number; frame: number; depth: number }
export type End = "expiration" | "inspiration";
export interface Turn { frame: number; end: End }
export interface Hand { points: BorderPoint[]; turns: Turn[]; beam?: number; anew?: boolean }
export interface Breath {
  frames: [number, number]; times_s: [number | null, number | null]; whole: boolean;
  way_mm?: number | null; way_share?: number; speed_mm_s?: number | null; placing_sd_mm?: number | null; // dome
  low_mm?: number | null; high_mm?: number | null; thickening?: number | null; placing_sd?: number | null; // muscle
}
export interface Path { found: boolean; index: number | null; beam: number; frames: number[]; times_s: (number | null)[]; depth?: (number | null)[]; lower?: (number | null)[] }
export interface Figures { breaths: Breath[]; findings: Finding[]; path: Path }
interface Answer { which: Which; scaled: boolean; automatic: Figures; hand: Figures | null }
export interface Told { clip: string; which: Which; of: Hand | null; answer: Answer }

export const mostPoints = 64; // SL_BORDER_POINTS_MOST
/** Whether borders are shown and can be moved. */
export const open = signal(false);
export const which = signal<Which>("dome");
/** What is being set and not yet kept, of one clip and kind. */
export const draft = signal<{ clip: string; which: Which; hand: Hand } | null>(null);
export const told = signal<Told | null>(null);
export const wrong = signal("");
/** The point in hand. */
export const held = signal<{ line: number; frame: number } | null>(null);

export const lineNames: Record<Which, string[]> = { dome: ["dome"], muscle: ["upper border", "lower border"] };
export const borderCodes: Record<Which, string[]> = {
  dome: ["diaphragm_excursion_mm", "diaphragm_speed_mm_s"], muscle: ["diaphragm_thickness_mm", "diaphragm_thickness_inspired_mm", "diaphragm_thickening"],
};

export const kept = (clip: Clip, of: Which): Hand | null => (stands("borders", clip.where, of)?.say as Hand | undefined) ?? null;
/** As the hand has it now: being set, kept, or none. */
export const handOf = (clip: Clip, of: Which): Hand | null =>
  draft.value?.clip === clip.id && draft.value.which === of ? draft.value.hand : kept(clip, of);

export function edit(clip: Clip, change: (hand: Hand) => Hand): void {
  const now = handOf(clip, which.value) ?? { points: [], turns: [] };
  draft.value = { clip: clip.id, which: which.value, hand: change(now) };
}

/** The answer of the clip and kind that are open. */
export const shown = (clip: Clip): Answer | null => told.value?.clip === clip.id && told.value.which === which.value ? told.value.answer : null;

export const lineOf = (path: Path, line: number): (number | null)[] | undefined => line ? path.lower : path.depth;

/** Position among the frames that were read of the one nearest to a frame of the file. */
export function nearestOf(frames: number[], frame: number): number {
  let best = 0;
  frames.forEach((one, i) => { if (Math.abs(one - frame) < Math.abs(frames[best]! - frame)) best = i; });
  return best;
}

/** Where a border lies in a frame: a point that was set, else the path by hand, else the program's. */
export function depthAt(clip: Clip, line: number, frame: number): number | null {
  const answer = shown(clip);
  if (!answer) return null;
  const path = (answer.hand ?? answer.automatic).path, i = nearestOf(path.frames, frame);
  const set = handOf(clip, which.value)?.points.find(one => one.line === line && one.frame === path.frames[i]);
  return set ? set.depth : lineOf(path, line)?.[i] ?? null;
}

/** Sets the border through a depth in a frame. */
export function setPoint(clip: Clip, line: number, frame: number, depth: number, beam?: number): void {
  const answer = shown(clip);
  if (!answer) return;
  const { frames, found } = answer.automatic.path, at = frames[nearestOf(frames, frame)]!;
  held.value = { line, frame: at };
  edit(clip, hand => {
    const rest = hand.points.filter(one => one.line !== line || one.frame !== at);
    if (rest.length >= mostPoints) return hand;
    const points = [...rest, { line, frame: at, depth: in01(depth) }].sort((a, b) => a.line - b.line || a.frame - b.frame);
    return { ...hand, points, ...(beam !== undefined && (!found || hand.anew) && hand.beam === undefined ? { beam: in01(beam) } : {}) };
  });
}
/** A point goes to another frame, its depth as it is; not past its neighbours. */
export function carryPoint(clip: Clip, point: BorderPoint, by: number): void {
  const frames = shown(clip)?.automatic.path.frames;
  if (!frames) return;
  const to = frames[Math.min(frames.length - 1, Math.max(0, nearestOf(frames, point.frame) + by))]!;
  edit(clip, hand => hand.points.some(one => one.line === point.line && one !== point && Math.sign(one.frame - point.frame) !== Math.sign(one.frame - to)) ? hand
    : (held.value = { line: point.line, frame: to }, { ...hand, points: hand.points.map(one => one.line === point.line && one.frame === point.frame ? { ...one, frame: to } : one) }));
}
export function takePoint(clip: Clip, point: { line: number; frame: number }): void {
  held.value = null;
  edit(clip, hand => ({ ...hand, points: hand.points.filter(one => one.line !== point.line || one.frame !== point.frame) }));
}

/** Marks a turning point: the first keeps those that were found; of two of a kind beside each other the new one stays. */
export function markTurn(clip: Clip, frame: number, end: End): void {
  const answer = shown(clip);
  if (!answer) return;
  const { frames } = answer.automatic.path, at = frames[nearestOf(frames, frame)]!;
  edit(clip, hand => {
    const found = (answer.hand ?? answer.automatic).breaths.flatMap((one): Turn[] => [{ frame: one.frames[0], end: "expiration" }, { frame: one.frames[1], end: "inspiration" }]);
    let turns = (hand.turns.length ? hand.turns : found).filter(one => one.frame !== at);
    const next = turns.findIndex(one => one.frame > at), k = next < 0 ? turns.length : next;
    turns = turns[k - 1]?.end === end ? [...turns.slice(0, k - 1), { frame: at, end }, ...turns.slice(k)]
      : turns[k]?.end === end ? [...turns.slice(0, k), { frame: at, end }, ...turns.slice(k + 1)] : [...turns.slice(0, k), { frame: at, end }, ...turns.slice(k)];
    return { ...hand, turns: turns.filter((one, i) => !i || one.end !== turns[i - 1]!.end) }; // one that was taken out may leave two of a kind
  });
}
export function takeTurn(clip: Clip, turn: Turn): void {
  edit(clip, hand => {
    const rest = hand.turns.filter(one => one.frame !== turn.frame);
    return { ...hand, turns: rest.filter((one, i) => !i || one.end !== rest[i - 1]!.end) };
  });
}

const addressOf = (clip: Clip, of: Which, hand: Hand | null): string =>
  `api/exams/${exam.peek()?.id ?? route.peek().exam}/clips/${clip.id}/borders?which=${of}${hand ? `&hand=${encodeURIComponent(JSON.stringify(hand))}` : ""}`;

let asking = false, again = false, retry = 0;
const apartMs = 60; // between two questions while something is dragged

/** Asks for path and figures of what the hand has now; the newest wins. */
export async function ask(clip: Clip): Promise<void> {
  if (asking) { again = true; return; }
  const of = which.value, hand = handOf(clip, of);
  if (told.value?.clip === clip.id && told.value.which === of && told.value.of === hand) return;
  asking = true;
  again = false;
  clearTimeout(retry);
  const began = performance.now();
  let lost = false;
  try {
    const answer = await get<Answer>(addressOf(clip, of, hand));
    if (clip.id === route.value.clip) {
      told.value = { clip: clip.id, which: of, of: hand, answer };
      wrong.value = "";
    }
  } catch (cause) {
    if (cause instanceof Trouble && cause.status === 401) signedOut.value = true;
    lost = !(cause instanceof Trouble) || cause.lost || cause.status === 429;
    if (clip.id === route.value.clip) wrong.value = lost ? "strandline does not answer: the figures are not of these borders. It is asked again." : (cause as Trouble).message;
  }
  retry = window.setTimeout(() => { asking = false; if ((again || lost) && clip.id === route.value.clip) void ask(clip); }, lost ? 1500 : Math.max(0, apartMs - (performance.now() - began)));
}

/** What kept borders say of their findings, for the numbers. */
function put(clip: string, of: Which, findings: Finding[]): void {
  const mine: typeof placed.value = new Map([...placed.peek()].filter(([key]) => !borderCodes[of].some(code => key === `${clip}\n${code}`)));
  for (const one of findings)
    if (one.known) mine.set(`${clip}\n${one.finding}`, { known: true, value: one.value, low: one.interval[0], high: one.interval[1] });
  placed.value = mine;
}
effect(() => {
  const now = told.value;
  if (now && draft.value?.clip !== now.clip) put(now.clip, now.which, now.of ? now.answer.hand?.findings ?? [] : []); // what is being set is not said yet
});

/** The same of all clips, for a sheet that shows their numbers together. */
export async function askAll(): Promise<void> {
  for (const clip of clips.peek()) for (const of of ["dome", "muscle"] as const) {
    const hand = kept(clip, of);
    if (!hand && !borderCodes[of].some(code => placed.peek().has(`${clip.id}\n${code}`))) continue;
    try { put(clip.id, of, hand ? (await get<Answer>(addressOf(clip, of, hand))).hand?.findings ?? [] : []); } catch (cause) { trouble(cause); }
  }
}

// ---- in the picture ----

/** The borders in the frame that is shown: the program's dashed, the hand's whole with a handle. */
export function drawBorders(c: CanvasRenderingContext2D, map: Mapping, clip: Clip, frame: number, scale: number): void {
  const answer = open.value ? shown(clip) : null;
  if (!answer) return;
  const auto = answer.automatic.path, beam = (answer.hand ?? answer.automatic).path.beam, i = nearestOf(auto.frames, frame), half = 0.09;
  const across = (depth: number, from: number, to: number): void => {
    c.beginPath();
    for (let k = 0; k <= 12; k++) {
      const p = map(from + (to - from) * k / 12, depth);
      if (k) c.lineTo(p.x, p.y); else c.moveTo(p.x, p.y);
    }
  };
  lineNames[answer.which].forEach((_, line) => {
    const found = lineOf(auto, line)?.[i], now = answer.hand || draft.value ? depthAt(clip, line, frame) : null;
    const draw = (depth: number, ink: string, dash: number[]): void => {
      for (const [under, wide] of [["rgba(11,16,18,.8)", 4], [ink, 1.8]] as const) {
        across(depth, Math.max(0, beam - half), Math.min(1, beam + half));
        c.setLineDash(dash.map(one => one * scale));
        c.strokeStyle = under;
        c.lineWidth = wide * scale;
        c.stroke();
      }
      c.setLineDash([]);
    };
    if (found !== null && found !== undefined) draw(found, colour("--colour-mark-pleura"), [5, 4]);
    if (now !== null && now !== found) draw(now, colour("--colour-mark-other"), []);
    const at = now ?? found;
    if (at === null || at === undefined) return;
    const p = map(beam, at), mine = held.value?.line === line && held.value.frame === auto.frames[i];
    c.beginPath();
    c.arc(p.x, p.y, (mine ? 6 : 4.5) * scale, 0, 7);
    c.fillStyle = mine ? colour("--colour-mark-other") : "rgba(11,16,18,.85)";
    c.strokeStyle = mine ? "rgba(11,16,18,.85)" : colour("--colour-mark-other");
    c.lineWidth = 1.5 * scale;
    c.fill();
    c.stroke();
  });
}

/** The border within reach of a hand in the frame shown, or -1. */
export function reachBorder(clip: Clip, frame: number, at: { beam: number; depth: number }, reach: number): number {
  const answer = open.value ? shown(clip) : null;
  if (!answer || Math.abs(at.beam - (answer.hand ?? answer.automatic).path.beam) > 0.1) return -1;
  let best = -1, far = reach;
  lineNames[answer.which].forEach((_, line) => {
    const depth = depthAt(clip, line, frame);
    if (depth !== null && Math.abs(depth - at.depth) < far) { best = line; far = Math.abs(depth - at.depth); }
  });
  return best;
}
