// The numbers of a clip: what the program found and what the clinician says, side by side; both remain.
import { signal } from "@preact/signals";
import { useEffect, useRef, useState } from "preact/hooks";
import { useKeys } from "./keys";
import { language, t } from "./language";
import { frameOf } from "./marks";
import { placing } from "./picture";
import type { Player } from "./player";
import { rivals, state, statement, tables } from "./state";
import type { Answer, Clip, Finding, FindingRow, Statement, Volumes } from "./types";
import { asStatement, factor, finding, number, row, statementWords, unit, words } from "./words";

export const chosen = signal(""); // code of the row that is open

const order = ["score", "b_lines", "b_line_count", "b_line_coverage", "white_lung", "a_lines", "a_line_count", "pleura_irregular", "pleura_thickness_mm", "pleura_roughness_mm", "pleura_broken", "pleura_bumps", "subpleural_spots",
  "sliding", "lung_pulse", "lung_point", "effusion", "effusion_depth_mm", "consolidation", "consolidation_extent_mm", "air_bronchogram", "air_bronchogram_moving", "air_bronchogram_travel_mm", "fluid_bronchogram", "spine", "mirror_image", "fluid_colour", "vessel_colour", "colour_toward", "colour_away", "colour_scale_cm_s", "colour_aliasing", "pleura_depth_mm",
  "pleura_depth", "a_line_spacing", "rib_share"];
/** What is not named here (the program finds more than this list knows) follows in the order of the program's own table. */
const rank = (code: string): number => { const at = order.indexOf(code); return at < 0 ? order.length + Math.max(0, tables.value?.findings.findIndex(info => info.key === code) ?? 0) : at; };

/** Codes shown: what the program stated and what the clinician added. A depth in millimetres stands for its share. */
export function codesOf(clip: Clip): string[] {
  const codes = new Set((clip.reading?.findings ?? []).map(one => one.finding));
  for (const code of [...codes]) // millimetres stand for the share where there is a scale
    if (codes.has(code + "_mm")) codes.delete(finding(clip, code + "_mm")?.known ? code : code + "_mm");
  for (const info of tables.value?.findings ?? []) if (statement(clip.where, info.key) || rivals("find", clip.where, info.key).length) codes.add(info.key);
  if (clip.status !== undefined) codes.add("score");
  for (const code of untold(clip)) codes.delete(code);
  return [...codes].sort((a, b) => rank(a) - rank(b));
}

/** Numbers that could not be told and that nobody asked for: named in one line, so that the list holds what there is to decide. */
function untold(clip: Clip): string[] {
  return (clip.reading?.findings ?? []).filter(one => !one.known && one.kind === "amount" && !one.finding.startsWith("pleura_depth") &&
    !rivals("find", clip.where, one.finding).length).map(one => one.finding);
}

export function Numbers({ clip, player }: { clip: Clip; player: Player }) {
  const codes = codesOf(clip), list = useRef<HTMLUListElement>(null);
  if (!codes.includes(chosen.value)) chosen.value = codes[0] ?? "";
  const choose = (code: string, focus = true): void => {
    chosen.value = code;
    const one = finding(clip, code), frame = one && frameOf(one, player.index);
    if (frame !== null && frame !== undefined && frame !== player.index) { player.pause(); player.show(player.frames.ofIndex(frame)); }
    if (focus) requestAnimationFrame(() => list.current?.querySelector<HTMLElement>(`[data-row="${code}"] .face`)?.focus());
  };
  const by = (step: number) => (): void => choose(codes[(codes.indexOf(chosen.value) + step + codes.length) % codes.length]!);
  const put = (say: Statement | null): void => enter(clip, chosen.value, say);
  const answer = (to: Answer) => (): void => {
    const info = row(chosen.value);
    if (!info) return;
    if (info.kind === "answer") put({ known: to !== "uncertain", answer: to });
    else if (to === "uncertain") put({ known: false });
  };
  const agree = (): void => { const one = finding(clip, chosen.value); if (one) put(asStatement(one)); };
  const digit = (event: KeyboardEvent): void => {
    const info = row(chosen.value), value = Number(event.key);
    if (info && (info.kind === "ordered" || info.kind === "count") && value >= info.low && value <= info.high) put({ known: true, value });
  };
  useKeys(() => [
    { keys: ["arrowdown"], does: t("the next number"), act: by(1) },
    { keys: ["arrowup"], does: t("the number before"), act: by(-1) },
    { keys: ["a"], does: t("agree with the program on this number"), act: agree },
    { keys: ["A"], does: t("agree on all that is still open"), act: () => agreeOnAll(clip) },
    { keys: ["y"], does: t("mine: seen"), act: answer("present") },
    { keys: ["n"], does: t("mine: none seen"), act: answer("absent") },
    { keys: ["x"], does: t("mine: could not tell"), act: answer("uncertain") },
    { keys: ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9"], does: t("mine: this score or count"), act: digit },
    { keys: ["w"], does: t("withdraw mine"), act: () => { if (statement(clip.where, chosen.value)) put(null); } },
    { keys: ["f"], does: t("another finding"), act: () => document.getElementById("another")?.focus() },
  ], [clip, player, codes.join(), language.value]);
  return <aside class="numbers" aria-label={t("Numbers")}>
    <div class="numbers-head" aria-hidden="true"><span>{t("the program")}</span><span>{t("you")}</span></div>
    <ul ref={list}>{codes.map(code => <Row key={code} code={code} clip={clip} player={player} choose={choose} />)}</ul>
    {untold(clip).length > 0 && <p class="untold quiet">{t("could not tell")}: {untold(clip).map(code => t(row(code)?.name ?? code)).join(", ")}</p>}
    {!!clip.audit?.length && <details class="complaints"><summary>{t("How it was acquired")}: {clip.audit.length} {t(clip.audit.length === 1 ? "remark" : "remarks")}</summary>
      {clip.audit.map(one => <p key={one.rule}><b class={one.grade === "scan again" ? "asks" : ""}>{t(one.complaint)}</b>{one.suspected ? ` (${t("suspected")})` : ""}: {t(one.found)}. {t(one.remedy)} <small class="quiet">{t(one.reason)} {t(one.source)}</small></p>)}</details>}
    {clip.effusion_volume && <VolumesOf all={clip.effusion_volume} />}
    <div class="numbers-foot">
      <button class="act" onClick={() => agreeOnAll(clip)}>{t("Agree on all that is still open")}</button>
      <label class="another">{t("another finding")} <select id="another" value="" onChange={event => {
        const code = (event.target as HTMLSelectElement).value;
        (event.target as HTMLSelectElement).value = "";
        if (code) { enter(clip, code, { known: true, ...(row(code)?.kind === "answer" ? { answer: "present" as const } : { value: row(code)?.low ?? 0 }) }); choose(code); }
      }}><option value="">{t("choose ...")}</option>
        {tables.value?.findings.filter(info => !codes.includes(info.key)).map(info => <option key={info.key} value={info.key}>{t(info.name)}{info.unit === "mm" ? " (mm)" : ""}</option>)}
      </select></label>
    </div>
  </aside>;
}

/** A statement; a place marked before stays with it. */
function enter(clip: Clip, code: string, say: Statement | null): void {
  const before = statement(clip.where, code);
  state(clip.where, code, say && before?.place && !say.place ? { ...say, place: before.place } : say);
}

function agreeOnAll(clip: Clip): void {
  for (const one of clip.reading?.findings ?? [])
    if (!statement(clip.where, one.finding) && codesOf(clip).includes(one.finding)) state(clip.where, one.finding, asStatement(one));
}

function Row({ code, clip, player, choose }: { code: string; clip: Clip; player: Player; choose: (code: string, focus?: boolean) => void }) {
  const info = row(code);
  if (!info) return null;
  const one = finding(clip, code), w = one ? words(one) : null, own = statement(clip.where, code), open = chosen.value === code;
  const conflict = rivals("find", clip.where, code);
  const ownWords = own ? statementWords(code, own) : "";
  return <li class={`row ${open ? "row-open" : ""}`} data-row={code}>
    <button class="face" aria-expanded={open} onClick={() => choose(code, false)} onFocus={() => { if (!open) choose(code, false); }}>
      <span class="row-label">{t(info.name)}</span>
      <span class={`row-value ${w && one!.known ? "" : "row-open-question"}`} ><span data-code={code}>{w ? w.value : t("not looked for")}</span>{w?.small && <span class="row-small">{w.small}</span>}</span>
      <span class="row-own">{own ? (own.agrees ? <>{t("agreed")}</> : <b>{ownWords}</b>) : <span class="undecided">{t("open")}</span>}</span>
      {open && w?.from && <span class="row-from">{w.from}</span>}
    </button>
    {open && <div class="row-more">
      {w?.reason && <p class="reason">{w.reason}</p>}
      {conflict.length > 1 && <div class="conflict"><p>{t("Two pages entered something here without knowing of each other. Choose:")}</p>
        {conflict.map(entry => <button key={entry.uid} class="choice" onClick={() => enter(clip, code, entry.say as Statement)}>{statementWords(code, entry.say as Statement)} <small>{entry.at ?? ""}</small></button>)}</div>}
      <Decide info={info} clip={clip} own={own} one={one} player={player} />
    </div>}
  </li>;
}

function Decide({ info, clip, own, one, player }: { info: FindingRow; clip: Clip; own: Statement | undefined; one: Finding | undefined; player: Player }) {
  const put = (say: Statement | null): void => enter(clip, info.key, say);
  const on = (test: boolean): "true" | "false" => test ? "true" : "false";
  const told = own?.known !== false;
  const mark = (): void => {
    placing.value = (beam, depth) => {
      const frame = player.index, time = player.frames.timesKnown ? player.seconds : null;
      const base: Statement = own ? { ...own, agrees: false } : one ? { ...asStatement(one), agrees: false } : { known: true, ...(info.kind === "answer" ? { answer: "present" as const } : {}) };
      put({ ...base, place: [...own?.place ?? [], { frame, time_s: time, beam: Math.round(beam * 1e4) / 1e4, depth: Math.round(depth * 1e4) / 1e4 }].slice(-12) });
    };
  };
  return <div class="decide">
    <div class="choices" role="group" aria-label={`${t("your read of")} ${t(info.name)}`}>
      {one && <button class="choice" aria-pressed={on(!!own?.agrees)} onClick={() => put(asStatement(one))}>{t("agree")}</button>}
      {info.kind === "answer" && (["present", "absent"] as const).map(answer =>
        <button key={answer} class="choice" aria-pressed={on(!own?.agrees && told && own?.answer === answer)} onClick={() => put({ known: true, answer })}>{answer === "present" ? t("seen") : t("none seen")}</button>)}
      {info.kind === "ordered" && [0, 1, 2, 3].map(value =>
        <button key={value} class={`choice score-${value}`} aria-pressed={on(!own?.agrees && told && own?.value === value)} onClick={() => put({ known: true, value })}>{value}</button>)}
      <button class="choice" aria-pressed={on(!!own && !own.agrees && !told)} onClick={() => put(info.kind === "answer" ? { known: false, answer: "uncertain" } : { known: false })}>{t("could not tell")}</button>
    </div>
    {(info.kind === "count" || info.kind === "amount") && <Amount info={info} own={own} put={put} />}
    <p class="row-acts">
      <button class="plain" aria-pressed={on(!!placing.value)} onClick={mark} disabled={!clip.view || clip.view.shape === "unknown"}>{placing.value ? t("now touch the place in the picture") : t("mark in the picture")}</button>
      {own?.place?.length ? <button class="plain" onClick={() => { const { place, ...rest } = own; void place; state(clip.where, info.key, rest); }}>{t("take marks away")} ({own.place.length})</button> : null}
      {own && <button class="plain" onClick={() => put(null)}>{t("withdraw mine")}</button>}
    </p>
    <details class="definition"><summary>{t("what it means")}</summary>{t(info.source)}</details>
  </div>;
}

/** A number by hand, with the range the clinician would not be surprised by. */
function Amount({ info, own, put }: { info: FindingRow; own: Statement | undefined; put: (say: Statement) => void }) {
  const shown = (value: number | null | undefined): string => value === null || value === undefined ? "" : number(info, value);
  const [value, setValue] = useState(shown(own?.value)), [low, setLow] = useState(shown(own?.low)), [high, setHigh] = useState(shown(own?.high));
  useEffect(() => { setValue(shown(own?.value)); setLow(shown(own?.low)); setHigh(shown(own?.high)); }, [own]);
  const read = (text: string): number | null => { const v = Number(text.replace(",", ".")) / factor(info); return text.trim() && Number.isFinite(v) ? v : null; };
  const keep = (): void => {
    const v = read(value);
    if (v === null) return;
    const same = (a: string, b: number | null | undefined): boolean => a === shown(b);
    if (own && same(value, own.value) && same(low, own.low) && same(high, own.high)) return;
    put({ known: true, value: v, ...(read(low) !== null ? { low: read(low) } : {}), ...(read(high) !== null ? { high: read(high) } : {}) });
  };
  const field = (text: string, set: (v: string) => void, label: string) =>
    <label>{label}<input inputMode="decimal" value={text} size={6} onInput={e => set((e.target as HTMLInputElement).value)} onBlur={keep}
      onKeyDown={e => { if (e.key === "Enter") keep(); }} /></label>;
  return <div class="amount">{field(value, setValue, `${t("mine")} (${unit(info, null) || t("number")})`)}{field(low, setLow, t("at least"))}{field(high, setHigh, t("at most"))}</div>;
}

/** The volume of an effusion by every published formula that fits, the others with why not. */
function VolumesOf({ all }: { all: Volumes }) {
  const fits = all.formulas.filter(one => one.applies && one.ml !== null), others = all.formulas.filter(one => !fits.includes(one));
  const whole = (v: number | null): string => v === null ? "?" : v.toFixed(0);
  return <details class="complaints" data-volumes><summary>{t("Volume of the effusion")}: {fits.length && all.least_ml !== null ? `${whole(all.least_ml)} ${t("to")} ${whole(all.most_ml)} ml` : t("no published formula applies")}</summary>
    {all.large && <p>{t(all.large)}</p>}
    {fits.map(one => <p key={one.name}><b>{whole(one.ml)} ml</b>{one.low_ml !== null ? ` (${whole(one.low_ml)} ${t("to")} ${whole(one.high_ml)})` : ""}: {t(one.formula)}. {t(one.reported_error)} <small class="quiet">{one.name}. {one.source}</small></p>)}
    {others.map(one => <p key={one.name} class="quiet">{one.name}: {t(one.why_not)}</p>)}</details>;
}
