// Measuring by hand: a distance, a line drawn, an angle, an area, the time between two frames, or way, time and speed on the
// motion trace. The server measures
// (src/reading/measure.h), so that a hand's number and the program's own come from one place, with one uncertainty.
import { signal } from "@preact/signals";
import { get, Trouble } from "./api";
import { toPixel } from "./geometry";
import { decimal, language, t } from "./language";
import { colour, type Mapping } from "./marks";
import { chosen } from "./numbers";
import { line, type Spot } from "./line";
import { placing } from "./picture";
import type { Player } from "./player";
import { route, state } from "./state";
import type { Clip } from "./types";
import { row } from "./words";

const kinds = {
  distance: { name: "a distance", least: 2, most: 2 },
  path: { name: "a length along a line", least: 2, most: 200 },
  angle: { name: "an angle", least: 3, most: 3 },
  area: { name: "an area", least: 3, most: 200 },
  time: { name: "a time", least: 2, most: 2 },
  trace: { name: "on the motion trace", least: 2, most: 2 },
} as const;
type Kind = keyof typeof kinds;
/** On the motion trace: `along` are shares of the length of `line`, and `spots` what the server says lies there. */
interface Taken { clip: string; kind: Kind; frame: number; spots: Spot[]; times: number[]; along: number[]; line: Spot[]; done: boolean }
interface One { known: boolean; reason: string; unit: string; value: number | null; low: number | null; high: number | null; left_out: string }
type Whence = "speckle" | "formula" | "unknown";
interface Told extends One {
  time?: One; speed?: One; places?: [number, number][]; share_of_depth?: number | null; share_half?: number | null; // on the trace
  resolution?: { along_mm: number | null; across_mm: number | null; along_from: Whence; across_from: Whence };
  repeats: { count: number; mean: number; within_sd: number; within_sd_interval: [number | null, number | null]; repeatability: number } | null;
}

export const measured = signal<Taken | null>(null);
const kind = signal<Kind>("distance");
const told = signal<{ of: Taken; answer: Told | null; trouble: string } | null>(null);
const beam = signal({ freq: "", aperture: "" }); // as the user states them: MHz, mm
const earlier = signal<number[]>([]); // values of the repeats before this one

/** A hand sets a point to within about this many pixels of the picture (standard deviation): common practice, no source. */
const handPx = 1;

function clear(): void {
  measured.value = told.value = placing.value = null;
}

async function finish(taken: Taken, player: Player): Promise<void> {
  const of = { ...taken, done: true }, times = player.frames.times, n = times.length;
  measured.value = of;
  placing.value = null;
  const timed = `times=${of.times.join(",")}${player.frames.timesKnown && n > 1 ? `&frame_s=${(times[n - 1]! - times[0]!) / (n - 1)}` : ""}`;
  const stated = ([["freq_mhz", beam.value.freq], ["aperture_mm", beam.value.aperture]] as const)
    .map(([name, text]) => [name, Number(text.replace(",", "."))] as const).filter(([, value]) => value > 0).map(([name, value]) => `&${name}=${value}`).join("");
  const placed = `placing_px=${handPx}&points=${(of.kind === "trace" ? of.line : of.spots).map(spot => `${spot.beam},${spot.depth}`).join(";")}${stated}`;
  const what = of.kind === "time" ? timed : of.kind === "trace" ? `${placed}&along=${of.along.join(",")}&${timed}` : placed;
  const before = earlier.value.length ? `&earlier=${earlier.value.join(",")}` : "";
  try {
    const answer = await get<Told>(`api/exams/${route.value.exam}/clips/${of.clip}/measure?kind=${of.kind}&${what}${before}`);
    if (measured.value === of) told.value = { of, answer, trouble: "" };
  } catch (cause) {
    if (measured.value === of) told.value = { of, answer: null, trouble: cause instanceof Trouble ? cause.message : String(cause) };
  }
}

/** Begins one of `what`; the places follow as they are touched. */
export function measure(clip: Clip, player: Player, what: Kind = "distance", again = false): void {
  player.pause();
  if (!again) earlier.value = [];
  clear();
  kind.value = what;
  const begun: Taken = { clip: clip.id, kind: what, frame: player.index, spots: [], times: [], along: [], line: line.value, done: false };
  if (what === "time") {
    measured.value = { ...begun, times: [player.seconds] };
    return;
  }
  if (what === "trace") { // the places follow on the trace (time.tsx)
    measured.value = begun;
    return;
  }
  const next = (so: Taken): void => {
    placing.value = (beam, depth) => {
      const taken = { ...so, frame: so.spots.length ? so.frame : player.index, spots: [...so.spots, { beam, depth }] };
      measured.value = taken;
      if (taken.spots.length < kinds[what].most) next(taken); // at once: a hand may be quicker than a timer
      else void finish(taken, player);
    };
  };
  next(begun);
}

/** A place on the motion trace of `of` was touched, at a share of its length. True when a measurement took it. */
export function placeOnTrace(share: number, of: Spot[], time: number, player: Player): boolean {
  const m = measured.value;
  if (!m || m.kind !== "trace" || m.done) return false;
  const so = m.line === of ? m : { ...m, along: [], times: [] }; // places of another line do not count
  const taken = { ...so, line: of, along: [...so.along, share], times: [...so.times, time] };
  measured.value = taken;
  if (taken.along.length === kinds.trace.most) void finish(taken, player);
  return true;
}

/** The same along the motion trace's line, as the server says. */
const onTrace = (answer: Told): { value: number; half: number } | null =>
  typeof answer.share_of_depth === "number" ? { value: answer.share_of_depth, half: answer.share_half ?? 0 } : null;

/** Without a scale: share of the imaged depth, and the half width of its 95 % interval by the hand alone. */
function share(clip: Clip, spots: Spot[]): { value: number; half: number } | null {
  const view = clip.view;
  if (!view || spots.length !== 2) return null;
  const a = toPixel(view, spots[0]!.beam, spots[0]!.depth), b = toPixel(view, spots[1]!.beam, spots[1]!.depth);
  const depth = view.shape === "linear" ? (view.far_y! - view.near_y!) * view.aspect : view.far_r! - view.near_r!;
  return { value: Math.hypot(a.x - b.x, (a.y - b.y) * view.aspect) / depth, half: 1.96 * handPx * Math.SQRT2 / depth };
}

export function drawMeasured(c: CanvasRenderingContext2D, map: Mapping, clip: Clip, frame: number, scale: number): void {
  const m = measured.value;
  if (!m || m.clip !== clip.id || m.kind === "trace" || Math.abs(m.frame - frame) > 2) return;
  const points = m.spots.map(spot => map(spot.beam, spot.depth));
  for (const [ink, width] of [["rgba(11,16,18,.8)", 4], [colour("--colour-mark-other"), 1.5]] as const) {
    c.strokeStyle = ink;
    c.lineWidth = width * scale;
    c.beginPath();
    points.forEach((p, i) => { if (i) c.lineTo(p.x, p.y); else c.moveTo(p.x, p.y); });
    if (m.kind === "area" && m.done) c.closePath();
    for (const p of points) { c.moveTo(p.x - 5 * scale, p.y); c.lineTo(p.x + 5 * scale, p.y); c.moveTo(p.x, p.y - 5 * scale); c.lineTo(p.x, p.y + 5 * scale); }
    c.stroke();
  }
}

const spotsOf = (m: Taken, answer: Told): Spot[] => m.kind === "trace" ? (answer.places ?? []).map(([beam, depth]) => ({ beam, depth })) : m.spots;

const units: Record<string, string> = { mm2: "mm²", degrees: "°" };
const digits = (unit: string): number => unit === "s" ? 2 : unit === "mm2" ? 0 : 1;

function words(answer: Told, clip: Clip, of: Taken): string {
  if (answer.time && answer.speed) return [{ ...answer, time: undefined }, answer.time, answer.speed].map(one => plain(one, clip, of, onTrace(answer))).join(" · ");
  return plain(answer, clip, of);
}

function plain(answer: One, clip: Clip, of: Taken, along?: { value: number; half: number } | null): string {
  const n = digits(answer.unit), unit = units[answer.unit] ?? answer.unit;
  if (answer.known && answer.value !== null)
    return decimal(`${answer.value.toFixed(n)} ${unit} (${answer.low!.toFixed(n)} ${t("to")} ${answer.high!.toFixed(n)}${answer.left_out ? `; ${t("without")} ${t(answer.left_out)}` : ""})`);
  const part = of.kind === "distance" ? share(clip, of.spots) : along !== undefined && answer.unit === "mm" ? along : null;
  return decimal(`${t(answer.reason)}${part ? `: ${(part.value * 100).toFixed(1)} % ${t("of the imaged depth")} ± ${(part.half * 100).toFixed(1)}` : ""}`);
}

const sources: Record<Whence, string> = { speckle: "from the clip's speckle", formula: "by the beam's formula", unknown: "" };

/** What the beam resolves there and where that is known from. */
function resolved(r: NonNullable<Told["resolution"]>): string {
  const one = (mm: number | null, from: Whence): string => mm === null ? t("not known") : decimal(`${mm.toFixed(1)} mm ${t(sources[from])}`);
  return `${t("width of the beam there")}: ${one(r.across_mm, r.across_from)}; ${t("along it")}: ${one(r.along_mm, r.along_from)}`;
}

/** How well the hand repeats itself, with the interval of that. */
function repeated(r: NonNullable<Told["repeats"]>, of: string): string {
  const n = digits(of) + 1, unit = units[of] ?? of, [low, high] = r.within_sd_interval;
  const range = low === null || high === null ? "" : ` (${low.toFixed(n)} ${t("to")} ${high.toFixed(n)})`;
  return decimal(`${r.count} ${t("times: mean")} ${r.mean.toFixed(digits(of))} ${unit}, ${t("standard deviation within the case")} ${r.within_sd.toFixed(n)}${range} ${unit}, ${t("two differ by less than")} ${r.repeatability.toFixed(n)} ${unit} ${t("in 95 of 100")}`);
}

function BeamStated() {
  const field = (name: "freq" | "aperture", label: string) => <label class="choice-line">{label} <input inputMode="decimal" size={4} value={beam.value[name]}
    onInput={e => { beam.value = { ...beam.value, [name]: (e.target as HTMLInputElement).value }; }} /></label>;
  return <details class="beam"><summary>{t("the beam, where it is known")}</summary>{field("freq", t("frequency, MHz"))}{field("aperture", t("aperture in use, mm"))}</details>;
}

export function Measured({ clip, player }: { clip: Clip; player: Player }) {
  void language.value;
  const m = measured.value?.clip === clip.id ? measured.value : null, now = told.value && told.value.of === m ? told.value : null;
  const answer = now?.answer ?? null, info = row(chosen.value), repeats = answer?.repeats ?? null, what = kinds[kind.value];
  const placed = (m?.kind === "trace" ? m.along : m?.spots ?? []).length, open = m && !m.done ? m : null;
  const fits = answer?.known && answer.unit === info?.unit && m!.kind !== "time";
  const round = (v: number): number => Math.round(v * 10) / 10;
  const enter = (): void => state(clip.where, chosen.value, { known: true, value: round(answer!.value!), low: round(answer!.low!), high: round(answer!.high!),
    place: spotsOf(m!, answer!).map((spot, i) => ({ frame: m!.kind === "trace" ? player.frames.indices[player.frames.at(m!.times[i]!)] ?? m!.frame : m!.frame, time_s: null, beam: spot.beam, depth: spot.depth })) });
  const again = (): void => {
    earlier.value = [...earlier.value, answer!.value!].slice(-60);
    measure(clip, player, m!.kind, true);
  };
  return <span class="measured">
    <label class="choice-line">{t("by hand")} <select value={kind.value} onChange={e => { clear(); earlier.value = []; kind.value = (e.target as HTMLSelectElement).value as Kind; }}>
      {(Object.keys(kinds) as Kind[]).map(one => <option key={one} value={one}>{t(kinds[one].name)}</option>)}</select></label>
    <button class="plain" onClick={() => measure(clip, player, kind.value)}>{placing.value && !m?.done ? (what.most > 3 ? t("touch the line, place by place") : what.most === 3 ? t("touch three places in the picture, the corner second") : t("touch two places in the picture")) : t("measure it")}</button>
    {open && kind.value === "trace" && <span>{t("touch two places on the motion trace")}</span>}
    {open && kind.value === "time" && <button class="plain" onClick={() => void finish({ ...open, times: [open.times[0]!, player.seconds] }, player)}>{t("to the frame shown now")}</button>}
    {open && what.most > 3 && placed >= what.least && <button class="plain" onClick={() => void finish(open, player)}>{t("that is all of it")}</button>}
    {answer && <output>{words(answer, clip, m!)}</output>}
    {now?.trouble && <output>{t(now.trouble)}</output>}
    {answer?.known && answer.resolution && answer.unit !== "degrees" && <small class="quiet resolved">{resolved(answer.resolution)}</small>}
    {repeats && <span class="repeats">{repeated(repeats, answer!.unit)}</span>}
    {fits && <button class="plain" onClick={enter}>{t("enter as")} {t(info!.name)}</button>}
    {answer?.known && <button class="plain" onClick={again}>{t("once more")}</button>}
    {m && <button class="plain" onClick={() => { clear(); earlier.value = []; }}>{t("away with it")}</button>}
    {kind.value !== "time" && <BeamStated />}
  </span>;
}
