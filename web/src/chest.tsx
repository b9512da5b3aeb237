import { signal } from "@preact/signals";
import { useMemo, useRef } from "preact/hooks";
import { address, get } from "./api";
import { ArrivedList } from "./arrived";
import { bringIn } from "./incoming";
import { useKeys } from "./keys";
import { decimal, language, t } from "./language";
import { layOut, neighbour, type Tile } from "./layout";
import { threadEnd } from "./marks";
import { bringing, clips, exam, go, marksOn, setZone, statement, tables, trouble, whoIs } from "./state";
import { Threads, type Thread } from "./threads";
import { TilePicture } from "./tile";
import type { Clip, Exam, Scheme, Zone } from "./types";
import { clipWords, finding, scores, words, zone as zoneOf, zoneName } from "./words";

const inHand = signal(""); // key of the zone whose numbers are shown

export interface Seen { clip: Clip | null; all: Clip[]; program: number | null; clinician: number | null; low: number; high: number }

/** The scheme that the examination is counted by: as stated, else the one whose zones hold the clips. */
export function schemeOf(): Scheme | undefined {
  const stated = exam.value?.head?.protocol, all = tables.value?.schemes ?? [];
  return all.find(scheme => scheme.key === stated) ?? all[0];
}

/** What is known of a zone: its worst clip stands for it. */
export function seenOf(key: string): Seen {
  const all = clips.value.filter(clip => clip.zone === key);
  let best: Clip | null = null, program: number | null = null, clinician: number | null = null;
  for (const clip of all) {
    const s = scores(clip, statement(clip.where, "score"));
    if (s.clinician !== null) clinician = Math.max(clinician ?? 0, s.clinician);
    if (s.program !== null) program = Math.max(program ?? 0, s.program);
    const rank = (c: Clip): number => { const p = scores(c, statement(c.where, "score")); return Math.max(p.clinician ?? -1, p.program ?? -1) + (c.status === "read" ? 0.5 : 0); };
    if (!best || rank(clip) > rank(best)) best = clip;
  }
  const head = exam.value?.head?.zones.find(one => one.zone === key);
  return { clip: best, all, program, clinician, low: head?.low ?? 0, high: head?.high ?? 3 };
}

export function ChestSheet() {
  const open = exam.value!, head = open.head, scheme = schemeOf();
  const zones = (scheme?.zones ?? []).map(key => zoneOf(key)).filter((one): one is Zone => !!one);
  const extra = [...new Set(clips.value.map(clip => clip.zone))].map(key => zoneOf(key)).filter((one): one is Zone => !!one && !zones.includes(one));
  const shown = [...zones, ...extra];
  const tiles = useMemo(() => layOut(shown, 0.035, 0.009, 0.018), [shown.map(one => one.key).join()]);
  const sheet = useRef<HTMLDivElement>(null);
  const loose = clips.value.filter(clip => !clip.zone);
  if (!inHand.value || !shown.some(one => one.key === inHand.value)) inHand.value = startingZone(shown);
  const hand = seenOf(inHand.value);
  const focus = (key: string): void => {
    inHand.value = key;
    sheet.current?.querySelector<HTMLElement>(`[data-zone="${key}"]`)?.focus();
  };
  const move = (dx: number, dy: number) => (): void => focus(neighbour(tiles, inHand.value, dx, dy));
  const openZone = (): void => { const clip = seenOf(inHand.value).clip; if (clip) go("clip", open.id, clip.id); };
  useKeys(() => [
    { keys: ["arrowleft"], does: t("the zone on the left"), act: move(-1, 0) },
    { keys: ["arrowright"], does: t("the zone on the right"), act: move(1, 0) },
    { keys: ["arrowup"], does: t("the zone above"), act: move(0, -1) },
    { keys: ["arrowdown"], does: t("the zone below"), act: move(0, 1) },
    { keys: ["enter"], does: t("open the zone's clip"), act: openZone },
    { keys: ["t"], does: t("the date before beside this one, or not"), act: toggleThen },
    { keys: ["m"], does: t("marks in the pictures on or off"), act: () => { marksOn.value = !marksOn.value; } },
  ], [tiles, open.id, language.value]);
  const threads = (): Thread[] => {
    const clip = hand.clip, picture = sheet.current?.querySelector(`[data-zone="${inHand.value}"] .picture:not(.before)`)?.getBoundingClientRect();
    if (!clip || !picture || clip.shown_frame === undefined || !marksOn.value) return [];
    return [...sheet.current!.querySelectorAll<HTMLElement>(".hand [data-code]")].flatMap(element => {
      const one = finding(clip, element.dataset["code"]!), end = one && threadEnd(one, clip.shown_frame!);
      return end ? [{ id: element.dataset["code"]!, from: element.getBoundingClientRect(), to: { x: picture.left + end.beam * picture.width, y: picture.top + end.depth * picture.height } }] : [];
    });
  };
  return <div class="chest" ref={sheet}>
    <div class="chest-head">
      <h1>{head?.title || t("Examination")}</h1>
      <p class="quiet">{[whoIs(exam.value!.id, head?.person), head?.date, sumWords()].filter(Boolean).join(" · ")}</p>
      {head?.question && <p class="question">{t("Question")}: {head.question}</p>}
      <Progress />
    </div>
    <div class="chest-strip">
      <div class="strip-labels" aria-hidden="true"><span>{t("spine")}</span><b>{t("right side")}</b><span>{t("sternum")}</span><b>{t("left side")}</b><span>{t("spine")}</span></div>
      <div class="strip watch-size" role="group" aria-label={t("The chest unrolled, from the spine round the right side to the sternum and on to the spine")}>
        <span class="sternum" aria-hidden="true" />
        {tiles.map(tile => <ZoneTile key={tile.zone.key} tile={tile} />)}
      </div>
      <Ramp />
      <Together />
      {loose.length > 0 && <section class="loose">
        <h2>{t("Not on the chest yet")}</h2>
        <p class="quiet">{t("Drag each to its zone, or choose it.")}</p>
        <ul>{loose.map(clip => <LooseClip key={clip.id} clip={clip} zones={shown} />)}</ul>
      </section>}
      <p class="bring">
        <label class="act">{t("Bring in clips")}<input type="file" multiple onChange={take} /></label>
        <span class="quiet">{t("or drop files or a folder anywhere on the page")}</span>
      </p>
      <ArrivedList />
    </div>
    <aside class="hand" aria-live="polite">
      <Rescan zones={zones} />
      <section class="hand-numbers">
        <h2>{zoneName(inHand.value)}</h2>
        {hand.clip ? <HandNumbers clip={hand.clip} seen={hand} zones={shown} /> : <p class="quiet">{t("No clip here yet.")}</p>}
      </section>
      <Since />
    </aside>
    <Threads container={sheet} threads={threads} inputs={[inHand.value, clips.value, marksOn.value, tiles, language.value]} />
  </div>;
}

function take(event: Event): void {
  const input = event.target as HTMLInputElement;
  void bringIn([...input.files ?? []]).then(() => { input.value = ""; });
}

/** The zone with the highest score is where the eye should go first. */
function startingZone(zones: Zone[]): string {
  let key = zones[0]?.key ?? "", most = -1;
  for (const one of zones) {
    const seen = seenOf(one.key), score = seen.clinician ?? seen.program ?? -0.5;
    if (seen.clip && score > most) { most = score; key = one.key; }
  }
  return key;
}

function sumWords(): string {
  const head = exam.value?.head;
  if (!head || head.total.score === null) return "";
  const all = exam.value!.head!.zones.length;
  return `${t("total")} ${head.total.score} ${t("of")} ${head.total.of} · ${head.total.scored} ${t("of")} ${all} ${t("zones scored")} · ${t("all zones")}: ${head.total.low.toFixed(0)} ${t("to")} ${head.total.high.toFixed(0)}`;
}

function Progress() {
  const open = exam.value!;
  return <div class="progress" role="status">
    {bringing.value.map(line => <p key={line.name}>{t("bringing in")} {line.name} <progress max={1} value={line.share} aria-label={line.name} /></p>)}
    {open.state === "reading" && <p>{t("reading")}: {open.done} {t("of")} {open.clips.length} {t("clips")} <progress max={open.clips.length || 1} value={open.done} aria-label={t("clips read")} /></p>}
    {open.state === "failed" && <p class="asks">{open.why}</p>}
  </div>;
}

function ZoneTile({ tile }: { tile: Tile }) {
  const { zone } = tile, seen = seenOf(zone.key), clip = seen.clip;
  const score = seen.clinician ?? seen.program;
  const differs = seen.clinician !== null && seen.program !== null && seen.clinician !== seen.program;
  const word = !clip ? t("no clip") : !clip.done ? t("reading ...") : clip.status !== "read" ? t("not readable") : score === null ? t("could not tell") : "";
  const label = `${t(zone.name)}: ${score !== null ? `${t("score")} ${score}${seen.clinician !== null ? `, ${t("yours")}` : ""}${differs ? `, ${t("program")} ${seen.program}` : ""}` : word}`;
  const change = exam.value!.head?.change?.zones.find(one => one.zone === zone.key), before = then.value && exam.value!.head?.earlier === then.value.id ? then.value : null;
  const drop = (event: DragEvent): void => {
    const where = event.dataTransfer?.getData("text/x-strandline-clip");
    if (!where) return;
    event.preventDefault();
    event.stopPropagation();
    setZone(where, zone.key);
    inHand.value = zone.key;
  };
  return <button class={`tile ${score === null ? "tile-unknown" : `tile-${score}`} ${clip ? "" : "tile-empty"}`} data-zone={zone.key} aria-label={label}
    aria-current={inHand.value === zone.key ? "true" : undefined} draggable={!!clip} tabIndex={inHand.value === zone.key ? 0 : -1}
    ref={element => { if (element) Object.assign(element.style, { left: `${tile.x * 100}%`, top: `${tile.y * 100}%`, width: `${tile.width * 100}%`, height: `${tile.height * 100}%` }); }}
    onDragStart={event => { if (clip) event.dataTransfer?.setData("text/x-strandline-clip", clip.where); }}
    onDragOver={event => { if (event.dataTransfer?.types.includes("text/x-strandline-clip")) event.preventDefault(); }}
    onDrop={drop} onFocus={() => { inHand.value = zone.key; }} onPointerEnter={event => { if (event.pointerType === "mouse") inHand.value = zone.key; }}
    onClick={() => { inHand.value = zone.key; if (clip) go("clip", exam.value!.id, clip.id); }}>
    <span class="tile-head"><b class="tile-name">{t(zone.place)}</b>
      {score !== null && <span class="tile-score">
        {differs ? <small>{t("program")} {seen.program}</small> : seen.clinician === null && seen.low < seen.high ? <small>{seen.low.toFixed(0)}–{seen.high.toFixed(0)}</small> : null}
        <b>{score}</b></span>}
    </span>
    <span class={`tile-pictures ${before ? "tile-both" : ""}`}>
      {before?.clips.some(one => one.zone === zone.key && one.cell) && <Before zone={zone.key} change={change} before={before} />}
      {clip?.cell ? <TilePicture clip={clip} alt="" /> : <span class="tile-room" />}
    </span>
    {word && <span class="tile-word">{word}</span>}
    {seen.all.length > 1 && <span class="tile-more">{seen.all.length} {t("clips")}</span>}
  </button>;
}

/** The zone on the earlier date, left of the present one. */
function Before({ zone: key, change, before }: { zone: string; change: { before: number | null; after: number | null; says: string } | undefined; before: Exam }) {
  const clip = before.clips.find(one => one.zone === key && one.cell);
  return <span class="picture before">
    {clip ? <img src={address(`api/exams/${before.id}/clips/${clip.id}/straightened.jpg`)} alt="" draggable={false} /> : null}
    <span class="before-word">{before.head?.date}{change && change.before !== null && change.after !== null ? ` · ${change.before} → ${change.after}` : ""}{change?.says === "more air" || change?.says === "less air" ? ` · ${t(change.says)}` : ""}</span>
  </span>;
}

function LooseClip({ clip, zones }: { clip: Clip; zones: Zone[] }) {
  return <li class="loose-clip" draggable onDragStart={event => event.dataTransfer?.setData("text/x-strandline-clip", clip.where)}>
    <a href={`#/exam/${exam.value!.id}/${clip.id}`} draggable={false}>{clip.cell ? <TilePicture clip={clip} alt={clip.clip} /> : <span class="tile-room" />}<span>{clip.clip}</span></a>
    {clip.reason && <p class="asks">{clip.reason}</p>}
    <ZoneChoice clip={clip} zones={zones} />
  </li>;
}

export function ZoneChoice({ clip, zones }: { clip: Clip; zones: Zone[] }) {
  const all = tables.value?.zones ?? zones;
  return <label class="zone-choice">{t("zone")} <select value={clip.zone ?? ""} onChange={event => setZone(clip.where, (event.target as HTMLSelectElement).value)}>
    <option value="">{t("no zone yet")}</option>
    <optgroup label={t("of the scheme")}>{zones.map(one => <option key={one.key} value={one.key}>{t(one.name)}</option>)}</optgroup>
    <optgroup label={t("others")}>{all.filter(one => !zones.includes(one)).map(one => <option key={one.key} value={one.key}>{t(one.name)}</option>)}</optgroup>
  </select></label>;
}

const stand = ["score", "b_line_count", "b_line_coverage", "a_line_count", "pleura_depth_mm", "sliding", "effusion", "consolidation"];

function HandNumbers({ clip, seen, zones }: { clip: Clip; seen: Seen; zones: Zone[] }) {
  const more = (clip.reading?.findings ?? []).filter(one => !stand.includes(one.finding) && one.known && (one.answer === "present" || one.kind === "count" && (one.value ?? 0) > 0)).map(one => one.finding);
  const rows = [...stand, ...more].slice(0, 12).map(code => finding(clip, code)).filter(one => !!one && (one.finding !== "score")).map(one => one!);
  return <>
    <p class="quiet">{clip.clip} · {clipWords(clip)}</p>
    <dl class="numbers-quiet">
      {rows.map(one => { const w = words(one); return <div key={one.finding}><dt>{w.label}</dt><dd data-code={one.finding}>{w.value}</dd><dd class="small">{w.small}</dd></div>; })}
    </dl>
    {clip.reason && <p class="asks">{clip.reason}</p>}
    {seen.all.length > 1 && <p>{seen.all.map(one => <a class="word" key={one.id} href={`#/exam/${exam.value!.id}/${one.id}`}>{one.clip} </a>)}</p>}
    <ZoneChoice clip={clip} zones={zones} />
    <p><a class="act" href={`#/exam/${exam.value!.id}/${clip.id}`}>{t("Open the clip")}</a></p>
  </>;
}

/** What the zones say together, in the program's sentences. */
function Together() {
  const all = exam.value!.head?.synthesis;
  if (!all) return null;
  const said = [all.interstitial, all.symmetry, all.gravity, all.no_profile].filter(Boolean) as string[];
  return <section class="together">
    <h2>{t("The zones together")}</h2>
    {said.map(one => <p key={one}>{t(one)}</p>)}
    {all.described_with?.map(one => <p key={one.profile}><b>{t(one.pattern)}</b>: {t("described with")} {t(one.described_with)}{one.complete ? "" : ` (${t(one.needs)})`} <small class="quiet">{one.source}</small></p>)}
    {(all.not_looked_at || all.cannot_exclude) && <p class="quiet">{t(all.not_looked_at ?? "")} {t(all.cannot_exclude ?? "")}</p>}
  </section>;
}

function Since() {
  const change = exam.value!.head?.change;
  if (!change) return null;
  return <section class="since">
    <h2>{t("Since")} {change.since}</h2>
    <p><b>{t(change.says)}</b>{change.total !== null && change.least_total !== null ? <> · {t("sum")} {change.total > 0 ? "+" : ""}{change.total}, {decimal(change.least_total.toFixed(1))} {t("and more can be shown")}</> : null} · {change.zones_compared} {t("zones on both dates")}</p>
    <button class="plain" aria-pressed={then.value ? "true" : "false"} onClick={toggleThen}>{then.value ? t("show this date alone") : t("show both dates in the zones")}</button>
  </section>;
}

/** The earlier examination, once it is asked for. */
const then = signal<Exam | null>(null);
function toggleThen(): void {
  const id = exam.value?.head?.earlier;
  if (then.value || !id) { then.value = null; return; }
  const follow = async (after: string): Promise<void> => { // it may still be read itself
    const got = await get<Exam>(`api/exams/${id}${after}`);
    if (after && then.value?.id !== id) return;
    then.value = got;
    if (got.state === "waiting" || got.state === "reading") await follow(`?after=${got.version}`);
  };
  follow("").catch(trouble);
}

interface Ask { where: string; why: string; clip?: Clip }

function asks(zones: Zone[]): Ask[] {
  const list: Ask[] = [];
  if (exam.value!.state !== "ready" && exam.value!.state !== "failed" && !exam.value!.head?.audit) return list; // read again: the list stays
  for (const one of zones) {
    const seen = seenOf(one.key);
    if (!seen.clip) list.push({ where: t(one.name), why: t("no clip") });
    else if (seen.clip.done && seen.clip.status !== "read") list.push({ where: t(one.name), why: seen.clip.reason || t("not readable"), clip: seen.clip });
    else if (seen.clip.done && seen.program === null && seen.clinician === null) list.push({ where: t(one.name), why: t("could not tell"), clip: seen.clip });
  }
  for (const one of exam.value!.head?.audit?.rescan ?? []) {
    const clip = clips.value.find(other => other.where === one.clip), where = one.zone ? zoneName(one.zone) : clip?.clip ?? "";
    if (clip) list.push({ where, why: `${t(one.found)}. ${t(one.remedy)}`, clip });
  }
  return list;
}

function Rescan({ zones }: { zones: Zone[] }) {
  const list = asks(zones);
  if (!list.length) return exam.value!.state === "ready" ? <section class="rescan"><h2 class="calm">{t("Nothing to scan again")}</h2></section> : null;
  return <section class="rescan">
    <h2>{t("Scan again first")}</h2>
    <ul>{list.slice(0, 8).map(one => <li key={one.where + one.why}>
      {one.clip ? <a href={`#/exam/${exam.value!.id}/${one.clip.id}`}>{one.where}</a> : <b>{one.where}</b>}: {one.why}</li>)}</ul>
  </section>;
}

function Ramp() {
  return <ul class="ramp" aria-label={t("Scores")}>
    {["0 " + t("aerated"), "1", "2", "3 " + t("least air")].map((text, i) => <li key={text}><span class={`ramp-${i}`} />{text}</li>)}
    <li><span class="ramp-unknown" />{t("not seen, or could not tell")}</li>
  </ul>;
}
