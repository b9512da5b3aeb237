import { useEffect, useRef, useState } from "preact/hooks";
import { address, post, stream } from "./api";
import { askAll } from "./border_hand";
import { schemeOf, seenOf } from "./chest";
import { session } from "./door";
import { language, t } from "./language";
import { Sending } from "./sending";
import { clips, conclude, exam, lost, queue, rivals, stands, statement, trouble, whoIs } from "./state";
import { codesOf } from "./numbers";
import { finding, row, statementWords, words, zoneName } from "./words";

/** The report as it will print, both reads side by side, the conclusion and the signature. */
export function ReportSheet() {
  const open = exam.value!, id = open.id, ready = open.state === "ready";
  const version = `${open.state}${open.version}`, later = open.signed ? open.says.entries.filter(entry => entry.n > open.signed!.last).length : 0;
  useEffect(() => { void askAll(); }, [id, open.says.last, ready]);
  return <div class="report">
    <h1>{t("Report")}</h1>
    <p class="quiet">{[open.head?.title, whoIs(id, open.head?.person), open.head?.date].filter(Boolean).join(" · ")}</p>
    <Conclusion />
    <Reads />
    <Signature />
    <Sending />
    <section>
      <h2>{t("As it will print")}</h2>
      {ready ? <>
        <p class="downloads">
          <a class="act" href={address(`api/exams/${id}/report.pdf?language=${language.value}`)} download="strandline-report.pdf">{t("Download the PDF")}</a>{" "}
          <a class="word" href={address(`api/exams/${id}/readings.csv`)} download>{t("numbers (CSV)")}</a>{" "}
          <a class="word" href={address(`api/exams/${id}/exam.json`)} download>{t("everything (JSON)")}</a>{" "}
          <a class="word" href={address(`api/exams/${id}/says.jsonl`)} download>{t("what you entered, entry by entry")}</a>
        </p>
        {later > 0 && <p class="asks">{t("These pages show what stands now, entries after the signature included; the signed report is the PDF above.")}</p>}
        <Pages id={id} version={version} />
      </> : <p>{open.state === "failed" ? open.why : t("The pages are drawn when all clips are read.")}</p>}
    </section>
  </div>;
}

function Pages({ id, version }: { id: string; version: string }) {
  const [count, setCount] = useState(0);
  useEffect(() => {
    const control = new AbortController();
    stream(`api/exams/${id}/page.png?page=1&dots=50&language=${language.value}`, control.signal).then(response => setCount(Number(response.headers.get("X-Pages") ?? 1))).catch(() => {});
    return () => control.abort();
  }, [id, version, language.value]);
  return <div class="pages">{Array.from({ length: count }, (_, i) =>
    <img key={i} loading="lazy" src={address(`api/exams/${id}/page.png?page=${i + 1}&dots=200&language=${language.value}&v=${encodeURIComponent(version)}`)} alt={`${t("page")} ${i + 1} ${t("of")} ${count} ${t("of the report")}`} />)}</div>;
}

function Conclusion() {
  const stand = stands("conclude"), text = typeof stand?.say === "string" ? stand.say : "", others = rivals("conclude");
  const [draft, setDraft] = useState(text), timer = useRef(0), typed = useRef(false);
  useEffect(() => { if (!typed.current) setDraft(text); }, [text]);
  const keep = (value: string): void => {
    clearTimeout(timer.current);
    typed.current = false;
    if (value !== text) conclude(value);
  };
  return <section class="conclusion">
    <label><h2>{t("Conclusion of the clinician")}</h2>
      <textarea rows={4} maxLength={2000} value={draft} onInput={event => {
        const value = (event.target as HTMLTextAreaElement).value;
        typed.current = true;
        setDraft(value);
        clearTimeout(timer.current);
        timer.current = window.setTimeout(() => keep(value), 700);
      }} onBlur={event => keep((event.target as HTMLTextAreaElement).value)} /></label>
    {others.length > 1 && <div class="conflict"><p>{t("Two pages entered something here without knowing of each other. Choose:")}</p>
      {others.map(one => <button class="choice" key={one.uid} onClick={() => { setDraft(String(one.say)); conclude(String(one.say)); }}>{String(one.say).slice(0, 120)}</button>)}</div>}
  </section>;
}

/** What the program and the clinician say, clip by clip; where they differ first. */
function Reads() {
  const scheme = schemeOf()?.zones ?? [];
  const order = [...scheme.flatMap(key => clips.value.filter(clip => clip.zone === key)), ...clips.value.filter(clip => !scheme.includes(clip.zone ?? ""))];
  let entered = 0, open = 0, differ = 0;
  const rows = order.flatMap(clip => codesOf(clip).flatMap(code => {
    const own = statement(clip.where, code), one = finding(clip, code);
    if (!own) { open += one ? 1 : 0; return []; }
    entered++;
    const differs = !own.agrees && !!one && statementWords(code, own) !== words(one).value;
    if (differs) differ++;
    return [{ clip, code, program: one ? words(one).value : t("not looked for"), own: own.agrees ? t("agreed") : statementWords(code, own), differs, note: own.place?.length ? `${own.place.length} ${t("marked in the picture")}` : "" }];
  }));
  const yours = scheme.map(key => seenOf(key)).filter(seen => seen.clinician !== null);
  return <section class="reads">
    <h2>{t("Both reads")}</h2>
    <p class="quiet">{entered} {t("numbers read by you")}, {open} {t("still open")}{differ ? `, ${differ} ${t("differ")}` : ""}{yours.length ? ` · ${t("your scores")}: ${yours.reduce((sum, one) => sum + one.clinician!, 0)} ${t("of")} ${yours.length * 3} ${t("in")} ${yours.length} ${t("zones")}` : ""}</p>
    {rows.length > 0 && <div class="table-room" tabIndex={0} role="region" aria-label={t("Both reads")}><table>
      <thead><tr><th scope="col">{t("zone")}</th><th scope="col">{t("finding")}</th><th scope="col">{t("the program")}</th><th scope="col">{t("you")}</th></tr></thead>
      <tbody>{rows.sort((a, b) => Number(b.differs) - Number(a.differs)).map(one => <tr key={one.clip.id + one.code} class={one.differs ? "differs" : undefined}>
        <td><a href={`#/exam/${exam.value!.id}/${one.clip.id}`}>{one.clip.zone ? zoneName(one.clip.zone) : one.clip.clip}</a></td><td>{t(row(one.code)?.name ?? one.code)}</td>
        <td>{one.program}</td><td>{one.differs ? <b>{one.own}</b> : one.own}{one.note && <small> {one.note}</small>}</td></tr>)}</tbody>
    </table></div>}
  </section>;
}

/** Signing is the store's: what is signed cannot change; what comes later stands beside it, and an addendum may take it up. */
function Signature() {
  const open = exam.value!, seal = open.signed, byName = stands("sign"), said = stands("conclude"), several = rivals("conclude").length > 1;
  const [name, setName] = useState(session.value?.name ?? ""), [words, setWords] = useState(""), [busy, setBusy] = useState(false);
  const later = seal ? open.says.entries.filter(entry => entry.n > seal.last).length : 0, waiting = queue.value.length > 0;
  const concluded = typeof said?.say === "string" && !!said.say.trim(), ready = open.state === "ready" && !lost.value && !waiting;
  const sign = (event: SubmitEvent): void => {
    event.preventDefault();
    if (!name.trim() || busy) return;
    setBusy(true);
    post(`api/exams/${open.id}/sign`, { name: name.trim(), text: words, last: open.says.last, language: language.value }).then(() => setWords("")).catch(trouble).finally(() => setBusy(false));
  };
  void language.value;
  return <section class="signature">
    <h2>{t("Signature")}</h2>
    {seal ? <>
      {seal.trouble && <p class="asks">{seal.trouble}</p>}
      <ol class="signed">{seal.reports.map(one => <li key={one.hash}><p>{one.addendum ? t("Addendum, signed by") : t("Signed by")} <b>{one.signer}</b>, {one.signed_at.replace("T", " ").replace(/\.\d+Z$/, " UTC")}</p>
        <blockquote>{one.text}</blockquote><p class="quiet">SHA-256 {one.hash}</p></li>)}</ol>
      <p><a class="act" href={address(`api/exams/${open.id}/signed.pdf`)} download="strandline-report-signed.pdf">{t("Download the signed PDF")}</a></p>
      <p>{t("What is signed lies in the store and cannot change.")} {later ? <b class="asks">{later} {t(later === 1 ? "entry came after it and is no part of it; an addendum can say so." : "entries came after it and are no part of it; an addendum can say so.")}</b> : null}</p>
    </> : byName ? <p class="quiet">{t("A name was put under it before signatures were kept in the store")}: {(byName.say as { name?: string }).name}</p> : null}
    <form class="facts" onSubmit={sign}>
      {seal && <label>{t("Addendum")}<textarea rows={2} maxLength={2000} value={words} onInput={event => setWords((event.target as HTMLTextAreaElement).value)} /></label>}
      <label>{t("Name")} <input value={name} maxLength={120} onInput={event => setName((event.target as HTMLInputElement).value)} autocomplete="name" /></label>
      <p><button class="act" type="submit" disabled={busy || !name.trim() || !ready || several || (seal ? !words.trim() : !concluded)}>{busy ? t("signing ...") : seal ? t("Sign the addendum") : t("Sign what stands now")}</button></p>
      <p class="quiet">{!seal && several ? t("Two conclusions stand; choose one first.") : !seal && !concluded ? t("Write a conclusion first, even if it is that nothing can be concluded.") : !ready ? t("Signing waits until all clips are read and everything entered is kept.")
        : t("Signing keeps clips, readings and report in the store on this machine. It shows later that nothing was changed; it is no qualified electronic signature.")}</p>
    </form>
  </section>;
}
