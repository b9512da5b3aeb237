// Second readers: blind lists, what differs and how it is settled, how far readers agree.
import { useEffect, useState } from "preact/hooks";
import { get, post } from "./api";
import { answerWords, Asking, AskedFor, usual, type Answers } from "./asking";
import { useKeys } from "./keys";
import { language, t } from "./language";
import { Loupe, usePlayerOf } from "./loupe";
import { delivered, outbox, send } from "./outbox";
import { Apart, Chances, CrossTable, figure } from "./plots";
import { go, place, route, tables, trouble } from "./state";
import type { Agreement, BlindList, Difference, FindingRow, ReadersOverview, Said } from "./types";
import { row } from "./words";

export function ReadersSheet() {
  const name = route.value.at[0];
  return name === "differences" ? <Differences /> : name ? <Blind name={name} /> : <Overview />;
}

// ---- the overview ----

function Overview() {
  const [there, setThere] = useState<ReadersOverview | null>(null), [making, setMaking] = useState(false);
  const again = (): void => { get<ReadersOverview>("api/readers").then(setThere).catch(trouble); };
  useEffect(again, []);
  if (!there) return <p class="waiting">{t("opening ...")}</p>;
  const open = there.lists.filter(one => !one.handed_in), mine = open.filter(one => !there.me || one.reader === there.me);
  return <div class="study">
    <h1>{t("Second reader")}</h1>
    <p class="quiet">{t("Several people read the same clips without seeing each other’s reads, nor the program’s. Then what differs is settled, and how far they agree is worked out.")}</p>
    {mine.length > 0 && <section><h2>{t("Lists that are being read")}</h2>
      <ul class="lines">{mine.map(one => <li key={one.name}><a href={`#/readers/${one.name}`}><b>{t("Reader")} {one.reader}</b><span>{one.sitting > 1 ? `${t("sitting")} ${one.sitting} · ` : ""}{one.clips} {t("clips")}</span><span class="quiet">{one.answered} {t("of")} {one.of} {t("answered")}</span></a></li>)}</ul></section>}
    {making ? <NewList me={there.me} done={() => setMaking(false)} /> : <p><button class="act" onClick={() => setMaking(true)}>{t("Begin a blind list")}</button></p>}
    {there.reads.length > 0 && <Agreed reading={mine.map(one => one.reader)} program={there.reads.includes("program-1")} entered={again} />}
  </div>;
}

function NewList({ me, done }: { me: string; done: () => void }) {
  const exams = (place.value?.exams ?? []), [asked, setAsked] = useState(usual);
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    const form = new FormData(event.target as HTMLFormElement);
    post<{ name: string }>("api/readers/lists", { reader: String(form.get("reader")).trim(), findings: asked, exams: form.getAll("exam") })
      .then(made => go("readers", made.name)).catch(trouble);
  };
  return <form class="facts study-form" onSubmit={submit}>
    <h2>{t("A blind list")}</h2>
    <label>{t("Reader (a code rather than a name)")}<input name="reader" defaultValue={me} readOnly={!!me} required maxLength={40} pattern="[A-Za-z0-9_][A-Za-z0-9_\-]*" autoFocus /></label>
    <fieldset class="asked-for"><legend>{t("Examinations")}</legend>{exams.map(one => <label key={one.id}><input type="checkbox" name="exam" value={one.id} defaultChecked /> {one.date || one.name} {one.person}</label>)}</fieldset>
    <AskedFor all={tables.value?.findings ?? []} chosen={asked} set={setAsked} />
    <p class="quiet">{t("The clips come in an order of this reader’s own, under codes; names, zones and dates stay hidden. What is written in the pictures themselves is hidden once a clip’s imaged area is known.")}</p>
    <p><button class="act" type="submit" disabled={!asked.length}>{t("Begin")}</button> <button class="plain" type="button" onClick={done}>{t("not now")}</button></p>
  </form>;
}

// ---- reading blind ----

function Blind({ name }: { name: string }) {
  const [list, setList] = useState<BlindList | null>(null), [at, setAt] = useState(0);
  useEffect(() => {
    let ended = false, timer = 0;
    const again = (): void => {
      get<BlindList>(`api/readers/lists/${name}`).then(got => {
        if (ended) return;
        setList(before => { if (!before) setAt(Math.max(0, got.clips.findIndex(one => got.findings.some(key => !got.answers[one.code]?.[key])))); return got; });
        if (got.clips.some(one => !one.view)) timer = window.setTimeout(again, 4000); // geometry is found while one reads
      }).catch(cause => { trouble(cause); timer = window.setTimeout(again, 4000); });
    };
    again();
    return () => { ended = true; clearTimeout(timer); };
  }, [name]);
  if (!list) return <p class="waiting">{t("opening ...")}</p>;
  return <Open list={list} at={at} setAt={setAt} done={() => setList({ ...list, handed_in: true })} />;
}

/** The server's answers and those on their way. */
function answersOf(list: BlindList, code: string): Answers {
  const all: Answers = { ...list.answers[code] };
  for (const letter of [...outbox.value, ...told]) {
    const body = letter.body as { code?: string; finding?: string; word?: string };
    if (letter.path === `api/readers/lists/${list.name}` && body.code === code && body.finding) all[body.finding] = body.word ?? "";
  }
  return all;
}
const told: { path: string; body: unknown }[] = []; // given on this page since it was opened

function Open({ list, at, setAt, done }: { list: BlindList; at: number; setAt: (to: number) => void; done: () => void }) {
  const [, redraw] = useState(0), clip = list.clips[at]!, player = usePlayerOf(`api/readers/lists/${list.name}/${clip.code}/frames`);
  const path = `api/readers/lists/${list.name}`, answers = answersOf(list, clip.code);
  const put = (finding: string, word: string): void => {
    const body = { code: clip.code, finding, word };
    told.push({ path, body });
    send(path, body);
    redraw(n => n + 1);
  };
  const complete = (index: number): boolean => { const said = answersOf(list, list.clips[index]!.code); return list.findings.every(key => said[key]); };
  const left = list.clips.filter((_, i) => !complete(i)).length;
  const move = (by: number) => (): void => setAt((at + by + list.clips.length) % list.clips.length);
  const hand = (): void => { void delivered().then(() => post(`${path}/hand-in`, {})).then(() => { done(); go("readers"); }).catch(trouble); };
  useKeys(() => [
    { keys: ["pagedown", "."], does: t("the next clip"), act: move(1) },
    { keys: ["pageup", ","], does: t("the clip before"), act: move(-1) },
  ], [at, list.clips.length, language.value]);
  return <div class="study blind">
    <div class="clip-head"><h1>{clip.code}</h1><p class="quiet">{t("Reader")} {list.reader} · {t("clip")} {at + 1} {t("of")} {list.clips.length} · {left ? `${left} ${t("still open")}` : t("all answered")}</p></div>
    <nav class="codes" aria-label={t("Clips of the list")}>{list.clips.map((one, i) => <button key={one.code} class={`code ${complete(i) ? "code-done" : ""}`} aria-current={i === at ? "true" : undefined}
      aria-label={`${t("clip")} ${i + 1}${complete(i) ? `, ${t("answered")}` : ""}`} onClick={() => setAt(i)}>{i + 1}</button>)}</nav>
    <Loupe key={clip.code} player={player} seen={clip} name={clip.code} />
    <aside class="questions">
      <h2>{t("Your read")}</h2>
      <Asking codes={list.findings} answers={answers} put={put} next={move(1)} closed={list.handed_in} />
      <p><button class="act" onClick={move(1)}>{t("next clip")}</button></p>
      {list.handed_in ? <p>{t("This list is handed in; what it says stays.")} <a href="#/readers">{t("To the other readers")}</a></p>
        : <p><button class={left ? "plain" : "act"} onClick={hand}>{left ? t("hand in as it is; open answers stay open") : t("Hand the list in")}</button><br /><span class="quiet">{t("What is handed in is never overwritten.")}</span></p>}
    </aside>
  </div>;
}

// ---- agreement ----

function Agreed({ reading, program, entered }: { reading: string[]; program: boolean; entered: () => void }) {
  const [all, setAll] = useState<Agreement | null>(null), [anyway, setAnyway] = useState(false), hidden = reading.length > 0 && !anyway;
  useEffect(() => { if (!hidden) get<Agreement>("api/readers/agreement").then(setAll).catch(trouble); }, [hidden, program]);
  const join = (): void => { post("api/readers/program", {}).then(entered).catch(trouble); };
  if (hidden) return <section><h2>{t("Agreement")}</h2><p>{t("Reader")} {reading.join(", ")} {t("is still reading. What others said is shown when the list is handed in.")}</p>
    <p><button class="plain" onClick={() => setAnyway(true)}>{t("show it now; the list is then no longer blind for whoever looks")}</button></p></section>;
  if (!all) return <p class="waiting">{t("opening ...")}</p>;
  const open = all.differences.filter(one => !one.settled).length;
  const codes = (tables.value?.findings ?? []).filter(info => all.rows.some(one => one.finding === info.key));
  return <section class="agreement">
    <h2>{t("Agreement")}</h2>
    <p>{all.clips} {t("clips")} · {t("read by")} {all.readers.map(one => `${one.reader === "program" ? t("the program") : one.reader}${one.sitting > 1 ? ` (${one.sitting})` : ""}: ${one.clips}`).join(", ")}</p>
    <p class="row-acts">{all.differences.length ? <a class="act" href="#/readers/differences">{t("What differs")}: {all.differences.length}, {open} {t("to settle")}</a> : all.readers.length > 1 ? t("Nothing differs by more than the tolerance.") : t("One reader alone: nothing to compare yet.")}
      {!program && <button class="plain" onClick={join}>{t("let the program take part")}</button>}</p>
    {all.remarks.map(one => <p key={one} class="asks">{one}</p>)}
    {codes.map(info => <OneFinding key={info.key} info={info} all={all} />)}
    {codes.length > 0 && <p class="quiet">{t("Diamond: the value; line: its 95 % interval. 0 is what chance alone would give, 1 the same on every clip. Clips of one person are alike: intervals by person stand in the table where persons are known.")}</p>}
  </section>;
}

function OneFinding({ info, all }: { info: FindingRow; all: Agreement }) {
  const pairs = all.pairs.filter(one => one.finding === info.key), rows = all.rows.filter(one => one.finding === info.key);
  const classes = info.kind === "answer" || info.kind === "ordered";
  return <section class="one-finding" data-agreement={info.key}>
    <h3>{t(info.name)}{info.unit === "mm" ? " (mm)" : ""}</h3>
    <Chances info={info} rows={rows} />
    <div class="plots">{pairs.map(pair => classes ? <CrossTable key={pair.a + pair.b} info={info} pair={pair} /> : <Apart key={pair.a + pair.b} info={info} pair={pair} rows={rows} />)}</div>
    <details><summary>{t("all figures")}</summary><div class="table-room" tabIndex={0} role="region" aria-label={`${t(info.name)}: ${t("all figures")}`}><table>
      <thead><tr><th scope="col">{t("readers")}</th><th scope="col">{t("measure")}</th><th scope="col">{t("clips")}</th><th scope="col">{t("value and 95 % interval")}</th><th scope="col">{t("interval by person")}</th></tr></thead>
      <tbody>{rows.map(one => <tr key={one.who + one.measure}><td>{t(one.who)}</td><td>{t(one.name)}</td><td>{one.clips}</td><td>{figure(one)}</td>
        <td>{one.person_low !== null && one.person_high !== null ? `${one.person_low.toFixed(2)} ${t("to")} ${one.person_high.toFixed(2)}` : t(one.why ?? "")}</td></tr>)}</tbody></table></div></details>
  </section>;
}

// ---- settling ----

function Differences() {
  const [all, setAll] = useState<Difference[] | null>(null), [at, setAt] = useState(0);
  const load = (): Promise<void> => get<Agreement>("api/readers/agreement").then(got => {
    setAll(got.differences);
    setAt(before => { const open = got.differences.findIndex((one, i) => !one.settled && i >= before); return open >= 0 ? open : Math.max(0, got.differences.findIndex(one => !one.settled)); });
  });
  useEffect(() => { load().catch(trouble); }, []);
  if (!all) return <p class="waiting">{t("opening ...")}</p>;
  if (!all.length) return <div class="study"><h1>{t("What differs")}</h1><p>{t("Nothing differs by more than the tolerance.")} <a href="#/readers">{t("Back")}</a></p></div>;
  return <OneDifference key={`${all[at]!.id} ${all[at]!.finding} ${all[at]!.settled?.when}`} all={all} at={at} setAt={setAt} load={load} />;
}

function wordOf(info: FindingRow, said: Said): string {
  return info.kind === "answer" ? said.answer === "present" ? "yes" : said.answer === "absent" ? "no" : "uncertain" : said.known && said.value !== null ? String(said.value) : "uncertain";
}

function OneDifference({ all, at, setAt, load }: { all: Difference[]; at: number; setAt: (to: number) => void; load: () => Promise<void> }) {
  const one = all[at]!, info = row(one.finding)!, player = usePlayerOf(`api/readers/clips/${one.id}/frames`);
  const [word, setWord] = useState(one.settled ? wordOf(info, one.settled) : ""), [why, setWhy] = useState(one.settled?.why ?? ""), [by, setBy] = useState(one.settled?.by ?? lastBy());
  const counts = new Map<string, number>();
  for (const said of one.says) { const w = answerWords(info, wordOf(info, said)); counts.set(w, (counts.get(w) ?? 0) + 1); }
  const open = all.filter(other => !other.settled).length;
  const settle = (): void => {
    if (!word || !by.trim()) return;
    try { localStorage.setItem("strandline-settles", by.trim()); } catch { /* private window */ }
    post("api/readers/settle", { id: one.id, finding: one.finding, word, by: by.trim(), why: why.trim() }).then(load).catch(trouble);
  };
  const move = (step: number) => (): void => setAt((at + step + all.length) % all.length);
  useKeys(() => [
    { keys: ["pagedown", "."], does: t("the next difference"), act: move(1) },
    { keys: ["pageup", ","], does: t("the difference before"), act: move(-1) },
    { keys: ["escape"], does: t("back to the readers"), act: () => go("readers") },
  ], [at, all.length, language.value]);
  return <div class="study blind">
    <div class="clip-head"><h1>{t(info.name)}</h1><p class="quiet">{t("difference")} {at + 1} {t("of")} {all.length} · {open} {t("to settle")} · <a href="#/readers">{t("back to the readers")}</a></p></div>
    <nav class="codes" aria-label={t("What differs")}>{all.map((other, i) => <button key={other.id + other.finding} class={`code ${other.settled ? "code-done" : ""}`} aria-current={i === at ? "true" : undefined}
      aria-label={`${t("difference")} ${i + 1}: ${t(row(other.finding)?.name ?? "")}${other.settled ? `, ${t("settled")}` : ""}`} onClick={() => setAt(i)}>{i + 1}</button>)}</nav>
    <Loupe player={player} seen={one} name={one.id} />
    <aside class="questions">
      <h2>{t("What was said")}</h2>
      <ul class="said">{one.settled ? one.says.map(said => <li key={said.reader}><b>{answerWords(info, wordOf(info, said))}</b> <span class="quiet">{said.reader === "program" ? t("the program") : said.reader}</span></li>)
        : [...counts].sort().map(([w, n]) => <li key={w}><b>{w}</b> <span class="quiet">{n > 1 ? `${n} ${t("readers")}` : t("one reader")}</span></li>)}</ul>
      {!one.settled && <p class="quiet">{t("Who said what is shown when it is settled.")}</p>}
      <h2>{one.settled ? t("Settled as") : t("Settle it")}</h2>
      <Asking codes={[one.finding]} answers={{ [one.finding]: word }} put={(_, w) => setWord(w)} />
      <div class="facts"><label>{t("Why")}<textarea rows={2} maxLength={1000} value={why} onInput={e => setWhy((e.target as HTMLTextAreaElement).value)} /></label>
        <label>{t("Decided by")}<input value={by} maxLength={120} onInput={e => setBy((e.target as HTMLInputElement).value)} /></label></div>
      <p><button class="act" disabled={!word || !by.trim()} onClick={settle}>{one.settled ? t("Settle it anew; the line before stays in the file") : t("Settle")}</button> <button class="plain" onClick={move(1)}>{t("next")}</button></p>
    </aside>
  </div>;
}

function lastBy(): string {
  try { return localStorage.getItem("strandline-settles") ?? ""; } catch { return ""; }
}
