import { signal } from "@preact/signals";
import { useEffect, useMemo, useRef } from "preact/hooks";
import { get } from "./api";
import { schemeOf, seenOf, ZoneChoice } from "./chest";
import { load } from "./frames";
import { known, toShare } from "./geometry";
import { useKeys } from "./keys";
import { language, t } from "./language";
import { threadEnd } from "./marks";
import { measure, Measured } from "./measure";
import { chosen, codesOf, Numbers } from "./numbers";
import { line, shiftLine } from "./line";
import { display, Picture, placing } from "./picture";
import { Player } from "./player";
import { clips, exam, go, marksOn, place, route, tables, trouble } from "./state";
import { Threads, type Thread } from "./threads";
import { TimeSheet } from "./time";
import type { Clip, Exam, Zone } from "./types";
import { clipWords, finding, zone as zoneOf, zoneName } from "./words";

type Mode = "both" | "fan" | "straight";
const mode = signal<Mode>("both");
const beside = signal<{ exam: string; clip: Clip; name: string } | null>(null);

/** Zones as one walks round the chest: from the spine over the right side to the left. */
export function walk(): Zone[] {
  const zones = (schemeOf()?.zones ?? []).map(key => zoneOf(key)).filter((one): one is Zone => !!one);
  const right = zones.filter(one => one.side === "right").sort((a, b) => b.from - a.from || a.top - b.top);
  return [...right, ...zones.filter(one => one.side === "left").sort((a, b) => a.from - b.from || a.top - b.top)];
}

function ordered(): Clip[] {
  const placed = walk().flatMap(one => clips.value.filter(clip => clip.zone === one.key));
  return [...placed, ...clips.value.filter(clip => !placed.includes(clip))];
}

const geometryKey = (clip: Clip): string => clip.view && known(clip.view) ? [clip.view.shape, clip.view.apex_x, clip.view.near_r, clip.view.far_r, clip.view.first_x, clip.view.far_y].join() : "";

export function ClipSheet() {
  const clip = clips.value.find(one => one.id === route.value.clip);
  if (!clip) return <p>{t("There is no such clip here any more.")} <a href={`#/exam/${exam.value!.id}`}>{t("Back to the chest")}</a></p>;
  return <OpenClip key={clip.id + geometryKey(clip)} clip={clip} />;
}

function usePlayer(examId: string, clip: Clip | null): Player | null {
  const player = useMemo(() => clip ? new Player(load(examId, clip.id, geometryKey(clip))) : null, [examId, clip?.id, clip && geometryKey(clip)]);
  useEffect(() => () => player?.end(), [player]);
  return player;
}

function OpenClip({ clip }: { clip: Clip }) {
  const id = exam.value!.id, player = usePlayer(id, clip)!, sheet = useRef<HTMLDivElement>(null);
  const other = beside.value?.clip.id === clip.id && beside.value.exam === id ? null : beside.value;
  const second = usePlayer(other?.exam ?? "", other?.clip ?? null);
  const redraw = useRef(() => {}), codes = codesOf(clip), straightOk = known(clip.view);
  useEffect(() => { // the frame that shows the most is shown first
    placing.value = null;
    let first = true;
    return player.frames.on(() => {
      if (!first || !player.frames.pictures.length) return;
      if (clip.shown_frame !== undefined && clip.shown_frame > 0 && player.frames.pictures.length <= clip.shown_frame && !player.frames.complete) return;
      first = false;
      if (!player.playing && player.position === 0) player.show(player.frames.ofIndex(clip.shown_frame ?? 0));
    });
  }, [player]);
  useEffect(() => {
    if (player.frames.complete && player.position === 0 && clip.shown_frame) player.show(player.frames.ofIndex(clip.shown_frame));
    return player.on(() => {
      redraw.current();
      if (second) second.showTime(second.frames.duration ? player.seconds % second.frames.duration : 0);
    });
  }, [player, second]);
  const all = ordered(), at = all.findIndex(one => one.id === clip.id);
  const next = (by: number) => (): void => { const to = all[(at + by + all.length) % all.length]; if (to) go("clip", id, to.id); };
  const gain = (by: number) => (): void => { display.value = { ...display.value, gain: Math.min(0.5, Math.max(-0.5, display.value.gain + by)) }; };
  const contrast = (by: number) => (): void => { display.value = { ...display.value, contrast: Math.min(3, Math.max(0.4, display.value.contrast * by)) }; };
  const shift = (by: number) => (): void => shiftLine(line.value, by, 0);
  useKeys(() => [
    { keys: ["space"], does: t("play or pause"), act: () => player.toggle() },
    { keys: ["arrowright"], does: t("one frame on"), act: () => { player.pause(); player.step(1); } },
    { keys: ["arrowleft"], does: t("one frame back"), act: () => { player.pause(); player.step(-1); } },
    { keys: ["shift+arrowright"], does: t("ten frames on"), act: () => { player.pause(); player.step(10); } },
    { keys: ["shift+arrowleft"], does: t("ten frames back"), act: () => { player.pause(); player.step(-10); } },
    { keys: ["home"], does: t("the first frame"), act: () => player.show(0) },
    { keys: ["end"], does: t("the last frame"), act: () => player.show(player.count - 1) },
    { keys: ["pagedown", "."], does: t("the next clip"), act: next(1) },
    { keys: ["pageup", ","], does: t("the clip before"), act: next(-1) },
    { keys: ["v"], does: t("fan, straightened or both"), act: turnMode },
    { keys: ["m"], does: t("marks and threads on or off"), act: () => { marksOn.value = !marksOn.value; } },
    { keys: ["["], does: t("the trace's line to the left"), act: shift(-0.02) },
    { keys: ["]"], does: t("the trace's line to the right"), act: shift(0.02) },
    { keys: ["d"], does: t("measure a distance"), act: () => { if (known(clip.view)) measure(clip, player); } },
    { keys: ["l"], does: t("loop from here; again: to here; again: the whole clip"), act: () => turnLoop(player) },
    { keys: ["+", "="], does: t("brighter, on the screen only"), act: gain(0.04) },
    { keys: ["-"], does: t("darker"), act: gain(-0.04) },
    { keys: [">"], does: t("more contrast"), act: contrast(1.1) },
    { keys: ["<"], does: t("less contrast"), act: contrast(1 / 1.1) },
    { keys: ["escape"], does: t("back to the chest"), act: () => { if (placing.value) placing.value = null; else go("chest", id); } },
  ], [player, at, all.length, language.value]);
  const threads = (): Thread[] => {
    const head = player.frames.head, root = sheet.current;
    const into = root?.querySelector<HTMLElement>(`[data-picture="${mode.value === "fan" || other ? "fan" : "straight"}"] canvas.over`) ?? root?.querySelector<HTMLElement>("canvas.over");
    if (!head || !root || !into || !marksOn.value || !known(clip.view) || !player.count) return [];
    const rect = into.getBoundingClientRect(), straight = into.closest("[data-picture]")!.getAttribute("data-picture") === "straight";
    const taken: { x: number; y: number }[] = [];
    return [...root.querySelectorAll<HTMLElement>(".row-value > [data-code]")].flatMap(element => {
      const code = element.dataset["code"]!, one = finding(clip, code), end = one?.known && one.answer !== "absent" ? threadEnd(one, player.index) : null;
      if (!end) return [];
      const p = straight ? { x: end.beam, y: end.depth } : toShare(head, clip.view!, end.beam, end.depth);
      const to = { x: rect.left + p.x * rect.width, y: rect.top + p.y * rect.height };
      if (code !== chosen.value && taken.some(q => Math.hypot(q.x - to.x, q.y - to.y) < 6)) return [];
      taken.push(to);
      return [{ id: code, from: textBox(element), to, strong: code === chosen.value }];
    });
  };
  const label = `${zoneName(clip.zone)}, ${clip.clip}`;
  return <div class={`clip mode-${other ? "beside" : straightOk ? mode.value : "fan"}`} ref={sheet}>
    <Shore clip={clip} />
    <div class="clip-head">
      <h1>{clip.zone ? zoneName(clip.zone) : clip.clip}</h1>
      <p class="quiet">{clip.zone ? `${clip.clip} · ` : ""}{clip.done ? clipWords(clip) : t("reading ...")}{clip.view?.note ? ` · ${clip.view.note}` : ""}</p>
      <ZoneChoice clip={clip} zones={walk()} />
      {clip.reason && <p class="asks">{clip.reason}</p>}
      {player.frames.failed && <p class="asks">{player.frames.failed}</p>}
    </div>
    <div class="pictures">
      {(mode.value !== "straight" || !straightOk || other) && <Picture clip={clip} player={player} straight={false} name="fan" codes={codes} withLine={straightOk} label={`${label}: ${t("the picture")}`} />}
      {straightOk && mode.value !== "fan" && !other && <Picture clip={clip} player={player} straight name="straight" codes={codes} label={`${label}: ${t("straightened, beams side by side")}`} />}
      {other && second && <div class="beside"><p class="quiet">{other.name}</p><Picture clip={other.clip} player={second} straight={false} name="second" codes={[]} withLine={false} label={other.name} /></div>}
    </div>
    <Transport clip={clip} player={player} />
    <TimeSheet clip={clip} player={player} />
    <Numbers clip={clip} player={player} />
    <Threads container={sheet} threads={threads} redraw={redraw}
      inputs={[clip, player, codes.join(), chosen.value, marksOn.value, mode.value, other, language.value]} />
  </div>;
}

/** The box of the words themselves, so that a thread starts where they begin. */
function textBox(element: HTMLElement): DOMRect {
  const range = document.createRange();
  range.selectNodeContents(element);
  return range.getBoundingClientRect();
}

function turnMode(): void {
  mode.value = mode.value === "both" ? "fan" : mode.value === "fan" ? "straight" : "both";
}

function turnLoop(player: Player): void {
  const end = player.frames.duration;
  if (!player.loop) player.loop = [player.seconds, end];
  else if (player.loop[1] === end && player.seconds > player.loop[0] + 0.1) player.loop = [player.loop[0], player.seconds];
  else player.loop = null;
  player.tell();
}

function Transport({ clip, player }: { clip: Clip; player: Player }) {
  const play = useRef<HTMLButtonElement>(null), loop = useRef<HTMLButtonElement>(null);
  useEffect(() => {
    const show = (): void => {
      play.current!.textContent = player.playing ? t("pause") : t("play");
      const l = player.loop, whole = l && l[1] === player.frames.duration;
      loop.current!.textContent = !l ? t("loop from here") : whole ? `${t("loop from")} ${l[0].toFixed(1)} s ${t("to here")}` : `${t("looping")} ${l[0].toFixed(1)} ${t("to")} ${l[1].toFixed(1)} s: ${t("end it")}`;
    };
    show();
    return player.on(show);
  }, [player, language.value]);
  const d = display.value, changed = d.gain !== 0 || d.contrast !== 1;
  return <div class="transport">
    <button class="act" ref={play} onClick={() => player.toggle()} />
    <button class="plain" ref={loop} onClick={() => turnLoop(player)} />
    {known(clip.view) && <label class="choice-line">{t("show")} <select value={mode.value} onChange={e => { mode.value = (e.target as HTMLSelectElement).value as Mode; }}>
      <option value="both">{t("picture and straightened")}</option><option value="fan">{t("the picture")}</option><option value="straight">{t("straightened")}</option></select></label>}
    <BesideChoice clip={clip} />
    {known(clip.view) && <Measured clip={clip} player={player} />}
    <label class="choice-line">{t("brightness")} <input type="range" min={-0.5} max={0.5} step={0.02} value={d.gain} onInput={e => { display.value = { ...d, gain: Number((e.target as HTMLInputElement).value) }; }} /></label>
    <label class="choice-line">{t("contrast")} <input type="range" min={0.4} max={3} step={0.05} value={d.contrast} onInput={e => { display.value = { ...d, contrast: Number((e.target as HTMLInputElement).value) }; }} /></label>
    {changed && <button class="plain" onClick={() => { display.value = { gain: 0, contrast: 1 }; }}>{t("greys as recorded")}</button>}
    <button class="plain" aria-pressed={marksOn.value ? "true" : "false"} onClick={() => { marksOn.value = !marksOn.value; }}>{marksOn.value ? t("hide marks") : t("show marks")}</button>
  </div>;
}

/** Another clip in step: the other side's, another of this examination, or the same zone of another date. */
function BesideChoice({ clip }: { clip: Clip }) {
  const id = exam.value!.id, zone = zoneOf(clip.zone);
  const mirror = zone && tables.value?.zones.find(one => one.place === zone.place && one.side !== zone.side);
  const here = clips.value.filter(one => one.id !== clip.id && one.status === "read");
  const first = here.filter(one => mirror && one.zone === mirror.key), rest = here.filter(one => !first.includes(one));
  const then = (place.value?.exams ?? []).filter(one => one.id !== id);
  const choose = (value: string): void => {
    if (!value) { beside.value = null; return; }
    const [kind, what = ""] = value.split(":");
    if (kind === "clip") {
      const one = clips.value.find(other => other.id === what);
      if (one) beside.value = { exam: id, clip: one, name: zoneName(one.zone) };
    } else get<Exam>(`api/exams/${what}`).then(got => {
      const one = got.clips.find(other => other.zone === clip.zone && other.status === "read");
      if (one) beside.value = { exam: what, clip: one, name: `${zoneName(one.zone)} · ${got.head?.date ?? ""}` };
      else trouble(new Error(t("That examination has no clip of this zone that was read. Open it once so that it is read.")));
    }).catch(trouble);
  };
  const now = beside.value ? (beside.value.exam === id ? `clip:${beside.value.clip.id}` : `exam:${beside.value.exam}`) : "";
  return <label class="choice-line">{t("in step with")} <select value={now} onChange={e => choose((e.target as HTMLSelectElement).value)}>
    <option value="">{t("nothing")}</option>
    {first.map(one => <option key={one.id} value={`clip:${one.id}`}>{t("the other side")}: {zoneName(one.zone)}</option>)}
    {then.map(one => <option key={one.id} value={`exam:${one.id}`}>{t("the same zone on")} {one.date || one.name}</option>)}
    {rest.map(one => <option key={one.id} value={`clip:${one.id}`}>{zoneName(one.zone)}{one.zone ? "" : ` ${one.clip}`}</option>)}
  </select></label>;
}

/** The chest as a narrow shore above the clip: where one is and where to go. */
function Shore({ clip }: { clip: Clip }) {
  const id = exam.value!.id;
  return <nav class="shore" aria-label={t("Zones")}>
    {walk().map((zone, i, all) => {
      const seen = seenOf(zone.key), score = seen.clinician ?? seen.program;
      const turn = i > 0 && all[i - 1]!.side !== zone.side;
      const text = `${zone.side === "right" ? t("R") : t("L")} ${t(zone.place)}`;
      return <span class="shore-piece" key={zone.key}>{turn && <i class="shore-sternum" />}
        {seen.clip ? <a class={`shore-zone ${score === null ? "tile-unknown" : `tile-${score}`}`} href={`#/exam/${id}/${seen.clip.id}`} aria-current={clip.zone === zone.key ? "page" : undefined}>{text} <b>{score ?? "?"}</b></a>
          : <span class="shore-zone tile-unknown shore-empty">{text} <small>{t("no clip")}</small></span>}</span>;
    })}
  </nav>;
}

