// Borders of the diaphragm over time: what the program found, what a hand set, the turning points, and the figures of both with every
// breath. The points are controls of their own, so that mouse and keys move the same thing.
import { useEffect, useRef, useState } from "preact/hooks";
import { ask, borderCodes, carryPoint, draft, edit, handOf, held, depthAt, kept, lineNames, lineOf, markTurn, mostPoints, nearestOf, open, setPoint, shown, takePoint, takeTurn, told, which, wrong,
  type BorderPoint, type Breath, type Figures, type Hand, type Path, type Turn, type Which } from "./border_hand";
import { follow } from "./dragging";
import { known } from "./geometry";
import { decimal, language, t } from "./language";
import { placing } from "./picture";
import type { Player } from "./player";
import { entries, setBorders, stands } from "./state";
import type { Clip, Finding } from "./types";
import { finding, row } from "./words";

const ends = { expiration: "end of expiration", inspiration: "end of inspiration" } as const;
const stepShare = 0.002;

/** The kind that the clip is about. */
const firstKind = (clip: Clip): Which => kept(clip, "muscle") ? "muscle" : kept(clip, "dome") ? "dome"
  : finding(clip, "diaphragm_thickness_mm")?.known ? "muscle" : clip.view?.shape === "linear" && !(finding(clip, "diaphragm")?.answer === "present") ? "muscle" : "dome";

export function Borders({ clip, player }: { clip: Clip; player: Player }) {
  void language.value;
  const asked = !!finding(clip, "diaphragm") && known(clip.view) && !clip.file?.still;
  useEffect(() => {
    which.value = firstKind(clip);
    open.value = finding(clip, "diaphragm")?.answer === "present" || !!finding(clip, "diaphragm_thickness_mm")?.known || !!kept(clip, "dome") || !!kept(clip, "muscle");
    held.value = null;
    wrong.value = "";
    return () => { open.value = false; };
  }, [clip.id, asked]);
  useEffect(() => {
    if (!asked) return;
    const now = (): void => { if (open.value || kept(clip, which.value) || told.value?.of) void ask(clip); };
    const off = [draft.subscribe(now), which.subscribe(now), open.subscribe(now), entries.subscribe(now)];
    return () => off.forEach(one => one());
  }, [clip, asked]);
  if (!asked) return null;
  return <details class="borders" open={open.value} onToggle={e => { open.value = (e.target as HTMLDetailsElement).open; }}>
    <summary>{t("Borders of the diaphragm")}</summary>
    {open.value && <Sheet clip={clip} player={player} />}
  </details>;
}

function Sheet({ clip, player }: { clip: Clip; player: Player }) {
  const kind = which.value, answer = shown(clip), hand = handOf(clip, kind), open = draft.value?.clip === clip.id && draft.value.which === kind;
  const entry = stands("borders", clip.where, kind), spoken = useRef<HTMLSpanElement>(null);
  const tell = (text: string): void => { if (spoken.current) spoken.current.textContent = text; };
  return <div class="borders-sheet" data-current={answer && told.value?.of === hand ? "yes" : "no"}>
    <div class="borders-acts">
      <label class="choice-line">{t("which")} <select value={kind} onChange={e => { which.value = (e.target as HTMLSelectElement).value as Which; held.value = null; wrong.value = ""; }}>
        <option value="dome">{t("the dome, for its excursion")}</option><option value="muscle">{t("the muscle on the wall, for its thickness")}</option></select></label>
      {answer && <Here clip={clip} player={player} tell={tell} />}
      {answer && (["expiration", "inspiration"] as const).map(end => <button key={end} class="plain" onClick={() => { markTurn(clip, player.index, end); tell(`${t(ends[end])}: ${t("frame")} ${player.index}`); }}>{t(end === "expiration" ? "this frame is the end of expiration" : "this frame is the end of inspiration")}</button>)}
      {answer?.automatic.path.found && <label class="choice-line"><input type="checkbox" checked={!!hand?.anew} onChange={e => edit(clip, now => ({ ...now, anew: (e.target as HTMLInputElement).checked }))} /> {t("leave the program's line aside")}</label>}
    </div>
    {wrong.value && <p class="asks" role="status">{t(wrong.value)}</p>}
    {answer && <Plot clip={clip} player={player} answer={answer} hand={hand} tell={tell} />}
    {answer && !answer.automatic.path.found && <p class="quiet">{t("The program found none here: set two points or more on each border.")}</p>}
    <div class="borders-acts">
      {open && <button class="act" disabled={!!wrong.value || told.value?.of !== hand} onClick={() => { setBorders(clip.where, kind, hand!); draft.value = null; tell(t("kept")); }}>{t("keep these borders")}</button>}
      {open && <button class="plain" onClick={() => { draft.value = null; held.value = null; wrong.value = ""; }}>{t("as they were")}</button>}
      {!open && entry && <span class="quiet">{`${t("set by hand")}${entry.by ? ` ${t("by")} ${entry.by}` : ""}${entry.at ? `, ${entry.at.replace("T", " ").replace("Z", " UTC")}` : ""}`}</span>}
      {!open && entry && <button class="plain" onClick={() => { setBorders(clip.where, kind, null); held.value = null; }}>{t("back to the program's borders")}</button>}
    </div>
    {answer && <Told clip={clip} player={player} kind={kind} automatic={answer.automatic} hand={answer.hand} scaled={answer.scaled} />}
    <small class="quiet" id="border-keys">{t("Drag a border in the picture or a point in the plot. With a point in hand: up and down move the border (with shift in larger steps), left and right take the point to another frame, delete takes it away. Between the points the program's line is kept and shifted smoothly; before the first and after the last it is shifted as there, so a point that is set without moving pins the line.")}</small>
    <span class="unseen" role="status" ref={spoken} />
  </div>;
}

const where = (clip: Clip, depth: number): string => {
  const mm = clip.scale?.imaged_depth_mm;
  return decimal(mm ? `${(depth * mm).toFixed(1)} mm` : `${(depth * 100).toFixed(1)} %`);
};
const timeAt = (path: Path, frame: number): string => {
  const s = path.times_s[nearestOf(path.frames, frame)];
  return s === null || s === undefined ? "" : decimal(`, ${s.toFixed(2)} s`);
};

/** Each border in the frame that is shown, for keys. */
function Here({ clip, player, tell }: { clip: Clip; player: Player; tell: (text: string) => void }) {
  const box = useRef<HTMLSpanElement>(null), kind = which.value;
  useEffect(() => { // the frame goes on without the sheet being made anew
    const show = (): void => box.current?.querySelectorAll<HTMLElement>("[data-line]").forEach(one => {
      const line = Number(one.dataset["line"]), depth = depthAt(clip, line, player.index);
      one.setAttribute("aria-valuenow", String(Math.round((depth ?? 0) * 1000)));
      one.setAttribute("aria-valuetext", `${t("frame")} ${player.index}: ${depth === null ? t("none here yet") : where(clip, depth)}`);
      one.querySelector("b")!.textContent = depth === null ? t("none") : where(clip, depth);
    });
    show();
    return player.on(show);
  });
  const keys = (line: number) => (event: KeyboardEvent): void => {
    const by = event.key === "ArrowUp" || event.key === "ArrowDown" ? (event.key === "ArrowUp" ? -1 : 1) * stepShare * (event.shiftKey ? 5 : 1) : null;
    if (by === null && event.key !== "Enter" && event.key !== " ") return; // Enter pins it where it lies
    event.preventDefault();
    player.pause();
    setPoint(clip, line, player.index, (depthAt(clip, line, player.index) ?? (line ? 0.55 : 0.5)) + (by ?? 0));
    tell(`${t(lineNames[kind][line]!)}, ${t("frame")} ${player.index}: ${where(clip, depthAt(clip, line, player.index)!)}`);
  };
  const touch = (line: number) => (): void => {
    player.pause();
    placing.value = (beam, depth) => { setPoint(clip, line, player.index, depth, beam); };
  };
  return <span class="borders-here" ref={box}>{lineNames[kind].map((name, line) => <span key={name}>
    <span class="border-slider" role="slider" tabIndex={0} data-line={line} aria-orientation="vertical" aria-valuemin={0} aria-valuemax={1000} aria-valuenow={0} aria-label={`${t(name)} ${t("in the frame shown")}`} aria-describedby="border-keys" onKeyDown={keys(line)}>{t(name)} <b /></span>
    <button class="plain" onClick={touch(line)}>{placing.value ? t("touch it in the picture") : t("set in the picture")}</button></span>)}</span>;
}

function Plot({ clip, player, answer, hand, tell }: { clip: Clip; player: Player; answer: NonNullable<ReturnType<typeof shown>>; hand: Hand | null; tell: (text: string) => void }) {
  const box = useRef<HTMLDivElement>(null), now = useRef<HTMLDivElement>(null), kind = answer.which, auto = answer.automatic.path, mine = answer.hand?.path;
  const names = lineNames[kind], [all, setAll] = useState(player.frames.complete);
  useEffect(() => { // the axis is the clip's: not before all of its frames are here
    const look = (): void => setAll(player.frames.complete);
    look();
    return player.frames.on(look);
  }, [player]);
  const duration = player.frames.duration || 1;
  const x = (frame: number): number => (player.frames.times[player.frames.ofIndex(frame)] ?? 0) / duration;
  const depths = [...names.flatMap((_, k) => [...lineOf(auto, k) ?? [], ...(mine ? lineOf(mine, k) ?? [] : [])]), ...(hand?.points ?? []).map(one => one.depth)].filter((one): one is number => one !== null);
  const low = depths.length ? Math.min(...depths) : 0.25, high = depths.length ? Math.max(...depths) : 0.75, room = Math.max(0.012, (high - low) * 0.25);
  const span = useRef<{ top: number; deep: number } | null>(null), dragging = useRef(false);
  if (!span.current || !dragging.current) span.current = { top: Math.max(0, low - room), deep: Math.min(1, high + room) };
  const { top, deep } = span.current, y = (depth: number): number => (depth - top) / (deep - top);
  useEffect(() => {
    const place = (): void => { now.current!.style.transform = `translateX(${(player.seconds / duration * box.current!.clientWidth).toFixed(1)}px)`; };
    place();
    const off = [player.on(place)], watcher = new ResizeObserver(place);
    watcher.observe(box.current!);
    return () => { off.forEach(one => one()); watcher.disconnect(); };
  }, [player, duration, all]);
  const lines = (path: Path, k: number): string => {
    let drawn = "", pen = false;
    (lineOf(path, k) ?? []).forEach((depth, i) => {
      if (depth === null) { pen = false; return; }
      drawn += `${pen ? "L" : "M"}${(x(path.frames[i]!) * 1000).toFixed(1)} ${(y(depth) * 200).toFixed(2)}`;
      pen = true;
    });
    return drawn;
  };
  const scrub = (event: PointerEvent): void => {
    if (event.button || (event.target as HTMLElement).closest("button")) return;
    const rect = box.current!.getBoundingClientRect();
    const to = (e: PointerEvent): void => player.showTime((e.clientX - rect.left) / rect.width * duration);
    player.pause();
    to(event);
    follow(event, to);
  };
  const drag = (point: BorderPoint) => (event: PointerEvent): void => {
    if (event.button) return;
    const rect = box.current!.getBoundingClientRect(), from = event.clientY;
    held.value = { line: point.line, frame: point.frame };
    dragging.current = true;
    player.pause();
    player.show(player.frames.ofIndex(point.frame));
    follow(event, e => setPoint(clip, point.line, point.frame, point.depth + (e.clientY - from) / rect.height * (deep - top)),
      () => { dragging.current = false; edit(clip, one => ({ ...one })); });
  };
  const keys = (point: BorderPoint) => (event: KeyboardEvent): void => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const step = stepShare * (event.shiftKey ? 5 : 1), by = event.shiftKey ? 10 : 1;
    switch (event.key) {
      case "ArrowUp": setPoint(clip, point.line, point.frame, point.depth - step); break;
      case "ArrowDown": setPoint(clip, point.line, point.frame, point.depth + step); break;
      case "ArrowLeft": carryPoint(clip, point, -by); break;
      case "ArrowRight": carryPoint(clip, point, by); break;
      case "Delete": case "Backspace": takePoint(clip, point); break;
      default: return;
    }
    event.preventDefault();
    const there = held.value && handOf(clip, kind)?.points.find(one => one.line === held.value!.line && one.frame === held.value!.frame);
    if (there) { player.show(player.frames.ofIndex(there.frame)); tell(name(there)); } else tell(t("the point is away"));
  };
  const name = (point: BorderPoint): string => `${t(names[point.line]!)}, ${t("frame")} ${point.frame}${timeAt(auto, point.frame)}: ${where(clip, point.depth)}`;
  const turn = (one: Turn): string => `${t(ends[one.end])}, ${t("frame")} ${one.frame}${timeAt(auto, one.frame)}`;
  const marks: Turn[] = hand?.turns.length ? hand.turns : (answer.hand ?? answer.automatic).breaths.flatMap((one): Turn[] => [{ frame: one.frames[0], end: "expiration" }, { frame: one.frames[1], end: "inspiration" }]);
  return <>
    <div class={`borders-plot ${all ? "" : "borders-plot-waits"}`} ref={box} onPointerDown={scrub}>
      <svg viewBox="0 0 1000 200" preserveAspectRatio="none" role="img" aria-label={`${t("Borders of the diaphragm over time")}: ${t("the program's dashed, by hand as a whole line")}`}>
        {marks.map(one => <line key={`${one.frame} ${one.end}`} class={`border-turn border-${one.end}`} x1={x(one.frame) * 1000} x2={x(one.frame) * 1000} y1={0} y2={200} />)}
        {names.map((_, k) => <path key={k} class="border-auto" d={lines(auto, k)} />)}
        {mine && names.map((_, k) => <path key={k} class="border-hand" d={lines(mine, k)} />)}
      </svg>
      <small class="border-top">{where(clip, top)}</small><small class="border-deep">{where(clip, deep)}</small>
      {(hand?.points ?? []).map((point, i) => <button key={i /* the same control in another frame, so that it stays in hand */} class="border-point" data-at={`${point.line}-${point.frame}`} style={{ left: `${x(point.frame) * 100}%`, top: `${y(point.depth) * 100}%` }}
        aria-label={name(point)} aria-describedby="border-keys" aria-pressed={held.value?.line === point.line && held.value.frame === point.frame ? "true" : "false"}
        onPointerDown={drag(point)} onKeyDown={keys(point)} onFocus={() => { held.value = { line: point.line, frame: point.frame }; }} />)}
      <div class="now" ref={now} />
    </div>
    {!!hand?.turns.length && <p class="border-turns">{t("turning points by hand")}: {hand.turns.map(one => <button key={one.frame} class="plain" title={t("touch it to take it away")} aria-label={`${turn(one)}: ${t("take it away")}`} onClick={() => takeTurn(clip, one)}>{turn(one)}</button>)}</p>}
    {(hand?.points.length ?? 0) >= mostPoints && <p class="quiet">{t("No more points fit: take some away.")}</p>}
  </>;
}

const one = (v: number | null | undefined, digits: number): string => v === null || v === undefined ? "?" : v.toFixed(digits);

function says(kind: Which, b: Breath): string {
  if (kind === "dome") return decimal(b.way_mm !== null && b.way_mm !== undefined ? `${one(b.way_mm, 1)} mm${b.speed_mm_s ? `, ${one(b.speed_mm_s, 0)} mm/s` : ""}` : `${one((b.way_share ?? 0) * 100, 1)} % ${t("of the imaged depth")}`);
  const share = b.thickening === null || b.thickening === undefined ? "" : `${one(b.thickening, 0)} %`;
  return decimal(b.low_mm !== null && b.low_mm !== undefined ? `${one(b.low_mm, 2)} ${t("to")} ${one(b.high_mm, 2)} mm${share ? `, ${share}` : ""}` : share || "?");
}

function told95(f: Finding | undefined): string {
  const info = f && row(f.finding);
  if (!f || !info) return "";
  if (!f.known || f.value === null) return t(f.reason);
  const n = info.decimals, range = f.interval[0] === null || f.interval[1] === null ? "" : ` (${f.interval[0].toFixed(n)} ${t("to")} ${f.interval[1].toFixed(n)})`;
  return decimal(`${f.value.toFixed(n)} ${info.unit}${range}`);
}

/** Figures and breaths, the program's beside those by hand. */
function Told({ clip, player, kind, automatic, hand, scaled }: { clip: Clip; player: Player; kind: Which; automatic: Figures; hand: Figures | null; scaled: boolean }) {
  const goTo = (frame: number) => (): void => { player.pause(); player.show(player.frames.ofIndex(frame)); };
  const list = (of: Figures | null): Breath[] => of?.breaths ?? [];
  const when = (b: Breath): string => b.times_s[0] === null ? `${t("frames")} ${b.frames[0]} ${t("to")} ${b.frames[1]}` : decimal(`${b.times_s[0].toFixed(2)} ${t("to")} ${b.times_s[1]!.toFixed(2)} s`);
  const cell = (b: Breath | undefined, sd: boolean): preact.ComponentChildren => {
    if (!b) return null;
    const placed = kind === "dome" ? b.placing_sd_mm : b.placing_sd;
    return <><button class="plain" onClick={goTo(b.frames[1])}>{when(b)}</button> {says(kind, b)}{b.whole ? "" : ` (${t("a part")})`}{sd && placed ? <small class="quiet"> ± {decimal(placed.toFixed(kind === "dome" ? 1 : 0))} {kind === "dome" ? "mm" : "%"}</small> : null}</>;
  };
  const rows = Math.max(list(automatic).length, list(hand).length);
  return <table class="borders-told"><caption class="unseen">{t("Figures from the borders, every breath")}</caption>
    <thead><tr><th scope="col"><span class="unseen">{t("what")}</span></th><th scope="col">{t("the program")}</th><th scope="col">{t("by hand")}</th></tr></thead>
    <tbody>
      {borderCodes[kind].map(code => <tr key={code}><th scope="row">{t(row(code)?.name ?? code)}</th><td>{told95(finding(clip, code) ?? undefined)}</td><td>{told95(hand?.findings.find(f => f.finding === code))}</td></tr>)}
      {Array.from({ length: rows }, (_, i) => <tr key={i} class="border-breath"><th scope="row">{t("breath")} {i + 1}</th><td>{cell(list(automatic)[i], false)}</td><td>{cell(list(hand)[i], true)}</td></tr>)}
      {!rows && <tr><td colSpan={3} class="quiet">{t("no breath in these borders")}</td></tr>}
      {!scaled && <tr><td colSpan={3} class="quiet">{t("The picture's scale is not known, so there are no millimetres.")}</td></tr>}
    </tbody></table>;
}
