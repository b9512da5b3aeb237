// Learning: sessions of clips whose truth is known, answers marked with the places in the picture, and the curve.
import { useEffect, useMemo, useState } from "preact/hooks";
import { get, post } from "./api";
import { AskedFor, Asking, usual, type Answers } from "./asking";
import { useKeys } from "./keys";
import { decimal, language, t } from "./language";
import { Loupe, usePlayerOf } from "./loupe";
import { frameOf } from "./marks";
import { CurvePlot } from "./plots";
import { go, route, store, tables, trouble } from "./state";
import type { Curve, Finding, Learner, LearnersOverview, Lesson, LessonClip, Marked, Reading } from "./types";
import { row, whence, words } from "./words";

export function LearnSheet() {
  const [name, number] = route.value.at;
  return name && number ? <OneLesson name={name} number={number} /> : name ? <OneLearner name={name} /> : <Overview />;
}

function Overview() {
  const [there, setThere] = useState<LearnersOverview | null>(null), [name, setName] = useState("");
  useEffect(() => { get<LearnersOverview>("api/learners").then(got => { setThere(got); setName(got.me); }).catch(trouble); }, []);
  if (!there) return <p class="waiting">{t("opening ...")}</p>;
  return <div class="study">
    <h1>{t("Learning")}</h1>
    <p class="quiet">{t("Clips whose truth is known, one after the other: invented chests simulated from physics, or clips on which readers agreed. After each you see what is true, and where in the picture.")}</p>
    {there.learners.length > 0 && <ul class="lines">{there.learners.map(one => <li key={one.name}><a href={`#/learn/${one.name}`}><b>{one.name}</b><span>{one.sessions} {t(one.sessions === 1 ? "session" : "sessions")}</span><span class="quiet">{one.answers} {t("answers")}</span></a></li>)}</ul>}
    <form class="facts" onSubmit={event => { event.preventDefault(); if (name.trim()) go("learn", name.trim()); }}>
      <label>{t("Who learns (a code rather than a name)")}<input value={name} readOnly={!!there.me} required maxLength={40} pattern="[A-Za-z0-9_][A-Za-z0-9_\-]*" onInput={e => setName((e.target as HTMLInputElement).value)} /></label>
      <p><button class="act" type="submit">{t("To the sessions")}</button></p>
    </form>
  </div>;
}

// ---- a learner: sessions and curves ----

function OneLearner({ name }: { name: string }) {
  const [learner, setLearner] = useState<Learner | null>(null), [there, setThere] = useState<LearnersOverview | null>(null);
  useEffect(() => { get<Learner>(`api/learners/${name}`).then(setLearner).catch(trouble); get<LearnersOverview>("api/learners").then(setThere).catch(trouble); }, [name]);
  if (!learner) return <p class="waiting">{t("opening ...")}</p>;
  const open = learner.sessions.filter(one => one.done < one.clips);
  return <div class="study">
    <h1>{t("Learning")}: {name}</h1>
    {open.length > 0 && <section><h2>{t("Begun")}</h2><ul class="lines">{open.map(one => <li key={one.number}><a href={`#/learn/${name}/${one.number}`}><b>{t("Session")} {one.number}</b><span>{one.done} {t("of")} {one.clips} {t("clips")}</span></a></li>)}</ul></section>}
    <NewLesson name={name} agreed={!!there?.agreed} next={learner.next} />
    {learner.curves.length > 0 && <section class="curves"><h2>{t("How it goes")}</h2>
      <p>{learner.next ? <>{t("Practise next")}: <b>{t(row(learner.next)?.name ?? "")}</b>. </> : t("Nothing stands out to practise: every finding asked so far is adequate by its chart. ")}{learner.next && errorWords(learner.curves.find(one => one.finding === learner.next)!)}</p>
      {learner.curves.map(one => <OneCurve key={one.finding} curve={one} />)}
      <p class="quiet">{t("A chart of a teaching aid, not an examination: clips of one patient are alike, and reading says nothing of scanning.")}</p></section>}
  </div>;
}

function errorWords(curve: Curve): string {
  const e = curve.errors;
  if (e.yes + e.no) return `${t("Of")} ${e.yes} ${t("clips that show it")} ${e.missed} ${t("were missed; of")} ${e.no} ${t("without it")} ${e.false_alarms} ${t("were called present or not told.")}`;
  return e.high + e.low ? `${e.high} ${t("answers were too high,")} ${e.low} ${t("too low.")}` : "";
}

function OneCurve({ curve }: { curve: Curve }) {
  const info = row(curve.finding), p = (v: number | null): string => v === null ? "?" : (v * 100).toFixed(0), plan = curve.plan;
  return <section class="one-finding" data-curve={curve.finding}>
    <h3>{t(info?.name ?? curve.finding)}</h3>
    <p>{curve.right} {t("of")} {curve.attempts} {t("right at first sight")}: {p(curve.share[0])} % <small class="quiet">({p(curve.share[1])} {t("to")} {p(curve.share[2])} %)</small>.{" "}
      {curve.warned_at_attempt ? `${t("Adequate at clip")} ${curve.adequate_at_attempt}, ${t("but warned again at clip")} ${curve.warned_at_attempt}.`
        : curve.adequate_at_attempt ? `${t("Adequate by the chart since clip")} ${curve.adequate_at_attempt}.`
        : curve.fewest_more > 0 ? `${t("Not shown yet: at least")} ${curve.fewest_more} ${t("more right in a row.")}` : t("Not shown yet.")}</p>
    <CurvePlot curve={curve} />
    <details><summary>{t("what it means")}</summary><p class="quiet">{t("Of readers who fail")} {p(plan.p0)} % {t("of the time")} {decimal((plan.false_discovery * 100).toFixed(1))} % {t("pass by luck within")} {plan.over} {t("clips; of those who fail")} {p(plan.p1)} %, {p(plan.power)} % {t("pass.")} {t(plan.source)}</p></details>
  </section>;
}

const pools: [string, string][] = [["invented-1", "invented chests, plain"], ["invented-2", "invented chests, usual"], ["invented-3", "invented chests, hard"]];

function NewLesson({ name, agreed, next }: { name: string; agreed: boolean; next: string }) {
  const [asked, setAsked] = useState(usual), [busy, setBusy] = useState(false);
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    const form = new FormData(event.target as HTMLFormElement);
    setBusy(true);
    post<{ number: number }>(`api/learners/${name}/sessions`, { pool: form.get("pool"), clips: Number(form.get("clips")), findings: asked })
      .then(made => go("learn", name, String(made.number))).catch(cause => { setBusy(false); trouble(cause); });
  };
  return <form class="facts study-form" onSubmit={submit}>
    <h2>{t("A new session")}</h2>
    <label>{t("Clips from")}<select name="pool">{pools.map(([key, words]) => <option key={key} value={key}>{t(words)}</option>)}{agreed && <option value="agreed">{t("clips on which readers agreed")}</option>}</select></label>
    <label>{t("How many")}<input name="clips" type="number" min={1} max={50} defaultValue="8" /></label>
    <AskedFor all={tables.value?.findings ?? []} chosen={asked} set={setAsked} />
    {next && !asked.includes(next) && <p class="quiet">{t("Practise next")}: {t(row(next)?.name ?? "")}</p>}
    <p><button class="act" type="submit" disabled={busy || !asked.length}>{busy ? t("making the chests ...") : t("Begin")}</button></p>
  </form>;
}

// ---- a session ----

function OneLesson({ name, number }: { name: string; number: string }) {
  const path = `api/learners/${name}/sessions/${number}`, [lesson, setLesson] = useState<Lesson | null>(null), [at, setAt] = useState(0);
  useEffect(() => { get<Lesson>(path).then(got => { setLesson(got); setAt(Math.max(0, got.clips.findIndex(one => !one.done))); }).catch(trouble); }, [path]);
  if (!lesson) return <p class="waiting">{t("opening ...")}</p>;
  return <OneClip key={at} name={name} path={path} lesson={lesson} at={at} setAt={setAt} setLesson={setLesson} />;
}

const draftKey = (path: string, at: number): string => `lesson-${path}-${at}`;
function draft(path: string, at: number): Answers {
  try { return JSON.parse(localStorage.getItem(`strandline-${draftKey(path, at)}`) ?? "{}") as Answers; } catch { return {}; }
}

function OneClip({ name, path, lesson, at, setAt, setLesson }: { name: string; path: string; lesson: Lesson; at: number; setAt: (to: number) => void; setLesson: (to: Lesson) => void }) {
  const clip = lesson.clips[at]!, player = usePlayerOf(`${path}/${at}/frames`), [answers, setAnswers] = useState<Answers>(() => draft(path, at)), [busy, setBusy] = useState(false);
  const done = clip.done, given = done ? fromMarked(clip) : answers;
  const put = (finding: string, word: string): void => { const all = { ...answers, [finding]: word }; setAnswers(all); store(draftKey(path, at), JSON.stringify(all)); };
  const mark = (): void => {
    if (busy) return;
    setBusy(true);
    post<Lesson>(path, { clip: at, answers }).then(got => {
      setLesson(got);
      try { localStorage.removeItem(`strandline-${draftKey(path, at)}`); } catch { /* private window */ }
    }).catch(trouble).finally(() => setBusy(false));
  };
  const last = lesson.clips.every(one => one.done), next = (): void => {
    if (last) { go("learn", name); return; }
    for (let i = 1; i <= lesson.clips.length; i++) { const to = (at + i) % lesson.clips.length; if (!lesson.clips[to]!.done) { setAt(to); return; } }
  };
  const ready = clip.asked.every(code => answers[code]);
  const truth = useMemo(() => done && clip.truth ? askedOf(clip.truth, clip.asked) : null, [done, clip.truth]);
  useEffect(() => { // to the frame that shows the first thing that is there
    if (!truth) return;
    const shows = truth.findings.find(one => one.evidence.length && clip.answers.some(a => a.finding === one.finding && !a.right)) ?? truth.findings.find(one => one.evidence.length);
    const frame = shows && frameOf(shows, player.index);
    if (frame !== null && frame !== undefined) { player.pause(); player.show(player.frames.ofIndex(frame)); }
  }, [truth]);
  useKeys(() => [
    { keys: ["pagedown", "."], does: t("the next clip"), act: () => setAt((at + 1) % lesson.clips.length) },
    { keys: ["pageup", ","], does: t("the clip before"), act: () => setAt((at - 1 + lesson.clips.length) % lesson.clips.length) },
    { keys: ["escape"], does: t("back to the learner"), act: () => go("learn", name) },
  ], [at, lesson, language.value]);
  const right = lesson.clips.flatMap(one => one.answers).filter(one => one.right).length, all = lesson.clips.flatMap(one => one.answers).length;
  return <div class="study blind">
    <div class="clip-head"><h1>{t("Session")} {lesson.number}, {t("clip")} {at + 1}</h1>{clip.invented && <strong class="invented">{t("Invented data")}</strong>}
      <p class="quiet">{name} · {right} {t("of")} {all} {t("answers right")} · <a href={`#/learn/${name}`}>{t("curves and sessions")}</a></p></div>
    <nav class="codes" aria-label={t("Clips of the session")}>{lesson.clips.map((one, i) => <button key={i} class={`code ${one.done ? "code-done" : ""}`} aria-current={i === at ? "true" : undefined}
      aria-label={`${t("clip")} ${i + 1}${one.done ? `, ${one.answers.filter(a => a.right).length} ${t("of")} ${one.answers.length} ${t("right")}` : ""}`} onClick={() => setAt(i)}>{i + 1}</button>)}</nav>
    <Loupe player={player} seen={clip} name={`${t("clip")} ${at + 1}`} marks={truth} />
    <aside class="questions">
      <h2>{done ? t("What is true") : t("Your read")}</h2>
      <Asking codes={clip.asked} answers={given} put={put} next={done ? next : ready ? mark : undefined} closed={done}
        beneath={code => done ? <Feedback marked={clip.answers.find(one => one.finding === code)} truth={clip.truth?.findings.find(one => one.finding === code)} look={one => { const frame = frameOf(one, -1); if (frame !== null) { player.pause(); player.show(player.frames.ofIndex(frame)); } }} /> : null} />
      {done ? <p><button class="act" onClick={next} autoFocus>{last ? t("to the curves") : t("next clip")}</button></p>
        : <p><button class={ready ? "act" : "plain"} disabled={busy} onClick={mark}>{ready ? t("See what is true") : t("see what is true; what is open counts as “could not tell”")}</button></p>}
    </aside>
  </div>;
}

function fromMarked(clip: LessonClip): Answers {
  return Object.fromEntries(clip.answers.map(one => [one.finding, one.said === "present" ? "yes" : one.said === "absent" ? "no" : one.said === "could not tell" || one.said === "not read" ? "uncertain" : one.said]));
}

function askedOf(truth: Reading, asked: string[]): Reading {
  return { ...truth, findings: truth.findings.filter(one => asked.includes(one.finding) || one.finding === "pleura_depth") };
}

function Feedback({ marked, truth, look }: { marked: Marked | undefined; truth: Finding | undefined; look: (one: Finding) => void }) {
  if (!marked) return null;
  const w = truth ? words(truth) : null, place = truth?.evidence.length ? whence(truth) : "";
  return <p class={`feedback ${marked.right ? "feedback-right" : "feedback-not"}`}><b>{marked.right ? t("Right") : t("Not so")}</b>: {w?.value ?? marked.truth}{w?.reason ? ` (${w.reason})` : ""}.{" "}
    {place ? <button class="plain" onClick={() => look(truth!)}>{t("look at")} {place}</button> : null}{!marked.first && <small class="quiet"> {t("met before: not counted in the chart")}</small>}</p>;
}
