import { useEffect, useState } from "preact/hooks";
import { get, post } from "./api";
import { t } from "./language";
import { PlannedList } from "./planned";
import { go, list, place, tables, trouble } from "./state";
import type { Kept } from "./types";

/** The examinations of the folder, and a new one. */
export function ListSheet() {
  const [adding, setAdding] = useState(false);
  const there = place.value;
  if (!there) return <p class="waiting">{t("opening ...")}</p>;
  return <div class="list">
    <h1>{t("Examinations")}</h1>
    <p class="quiet">{t("in the folder")} {there.folder}</p>
    {!there.exams.length && <p>{t("None yet. Begin one, then drop its clips on it.")}</p>}
    <ul class="exams">
      {there.exams.map(exam => <li key={exam.id}>
        <a href={`#/exam/${exam.id}`}>
          <span class="when">{exam.date || exam.name}</span>
          <span class="who">{exam.who || exam.person || t("no name given")}</span>
          <span class="what">{exam.title}</span>
          <span class="sum">{exam.total && exam.total.score !== null
            ? `${t("total")} ${exam.total.score} ${t("of")} ${exam.total.of} · ${exam.total.zones_scored} ${t("of")} ${exam.total.zones} ${t("zones")}`
            : exam.clips ? `${exam.clips} ${t("clips")}` : t("not read yet")}</span>
        </a>
      </li>)}
    </ul>
    {!there.single && (adding ? <NewExam done={() => setAdding(false)} />
      : <p><button class="act" onClick={() => setAdding(true)}>{t("Begin an examination")}</button></p>)}
    {!there.single && <PlannedList />}
    {!there.single && <KeptList />}
  </div>;
}

const KEPT_SHOWN = 12;

/** Examinations of the store: those that are here are opened, the others are brought back as a copy. */
function KeptList() {
  const [kept, setKept] = useState<Kept[]>([]), [words, setWords] = useState(""), [busy, setBusy] = useState("");
  const look = (): void => { get<{ exams: Kept[] }>("api/kept").then(got => setKept(got.exams)).catch(trouble); };
  useEffect(look, []);
  if (!kept.length) return null;
  const wanted = words.toLowerCase().split(/\s+/), fits = kept.filter(one => wanted.every(word => `${one.person} ${one.date} ${one.title}`.toLowerCase().includes(word)));
  const open = (one: Kept): void => {
    setBusy(one.uid);
    post<{ id: string }>("api/kept", { uid: one.uid }).then(async made => { await list(); go("chest", made.id); }).catch(trouble).finally(() => setBusy(""));
  };
  return <section class="shelf" aria-label={t("Kept in the store")}>
    <h2>{t("Kept in the store")}</h2>
    {kept.length > KEPT_SHOWN && <p><input type="search" aria-label={t("Person, date or title")} placeholder={t("Person, date or title")} value={words} onInput={event => setWords(event.currentTarget.value)} /></p>}
    <ul>{fits.slice(0, KEPT_SHOWN).map(one => <li key={one.uid}>
      <span class="when">{one.date}</span> <span>{one.person}</span> <span class="quiet">{one.title} · {one.clips} {t(one.clips === 1 ? "clip" : "clips")}{one.signed ? ` · ${t("signed")}` : ""}</span>
      <button class="plain" disabled={!!busy} aria-label={`${t(one.here ? "open it" : "bring back a copy")}: ${one.person} ${one.date}`} onClick={() => open(one)}>{busy === one.uid ? t("bringing in ...") : t(one.here ? "open it" : "bring back a copy")}</button></li>)}</ul>
    {!fits.length && <p class="quiet">{t("Nothing kept fits that.")}</p>}
    {fits.length > KEPT_SHOWN && <p class="quiet">{fits.length - KEPT_SHOWN} {t("more; say which above")}</p>}
  </section>;
}

function NewExam({ done }: { done: () => void }) {
  const today = new Date().toLocaleDateString("sv");
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    const facts = Object.fromEntries(new FormData(event.target as HTMLFormElement).entries());
    post<{ id: string }>("api/exams", facts).then(async made => { await list(); done(); go("chest", made.id); }).catch(trouble);
  };
  return <form class="facts" onSubmit={submit}>
    <h2>{t("A new examination")}</h2>
    <label>{t("Person (a pseudonym)")}<input name="person" maxLength={120} autoFocus /></label>
    <label>{t("Date")}<input name="date" value={today} pattern="\d{4}-\d{2}-\d{2}" /></label>
    <label>{t("Title")}<input name="title" maxLength={200} /></label>
    <label>{t("Question")}<input name="question" maxLength={300} /></label>
    <label>{t("Scheme of zones")}<select name="protocol">
      {tables.value?.schemes.map(scheme => <option key={scheme.key} value={scheme.key}>{t(scheme.name)}</option>)}
    </select></label>
    <p><button class="act" type="submit">{t("Begin")}</button> <button class="plain" type="button" onClick={done}>{t("not now")}</button></p>
  </form>;
}
