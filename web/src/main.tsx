import { render } from "preact";
import { useEffect } from "preact/hooks";
import { effect } from "@preact/signals";
import { BenchSheet } from "./bench";
import { ChestSheet } from "./chest";
import { ClipSheet } from "./clip";
import { knock, SignIn, UsersSheet, Who } from "./door";
import { dropOn } from "./incoming";
import { useKeys } from "./keys";
import { active } from "./keys";
import { language, setLanguage, t } from "./language";
import { LearnSheet } from "./learn";
import { ListSheet } from "./list";
import { keptOnce, outbox } from "./outbox";
import { PlanSheet } from "./plan";
import { ReadersSheet } from "./readers";
import { ReportSheet } from "./report";
import {
  begin, exam, go, helpOpen, lost, place, queue, redo, route, say, sentences, signedOut, store, tables, theme, trouble, undo, watch, type Sheet,
} from "./state";

effect(() => {
  document.documentElement.dataset["theme"] = theme.value;
});
effect(() => { if (tables.value) watch(route.value.exam); }); // once one is in

const order = ["auto", "light", "dark"] as const;

function Word({ sheet, exam: id = "", children }: { sheet: Sheet; exam?: string; children: string }) {
  const here = route.value.sheet === sheet || sheet === "chest" && route.value.sheet === "clip";
  const to = sheet === "list" ? "#/" : ["bench", "plan", "readers", "learn"].includes(sheet) ? `#/${sheet}` : `#/exam/${id}${sheet === "report" ? "/report" : ""}`;
  return <a class="word" href={to} aria-current={here ? "page" : undefined}>{children}</a>;
}

function Top() {
  const at = route.value, open = exam.value;
  const head = open?.head, id = at.exam;
  return <header class="top">
    <div class="top-line">
      {!signedOut.value && <nav aria-label={t("Sheets")} class="words">
        {!place.value?.single && <Word sheet="list">{t("examinations")}</Word>}
        {(id || place.value?.single) && <Word sheet="chest" exam={id || place.value?.exams[0]?.id || ""}>{t("chest")}</Word>}
        {id && <Word sheet="report" exam={id}>{t("report")}</Word>}
        <Word sheet="readers">{t("second reader")}</Word>
        <Word sheet="learn">{t("learning")}</Word>
        <Word sheet="bench">{t("bench")}</Word>
        <Word sheet="plan">{t("plan")}</Word>
      </nav>}
      <div class="top-right">
        {head?.invented && at.exam && <strong class="invented">{t("Invented data")}</strong>}
        <Kept />
        <Who />
        <button class="plain" onClick={() => { setLanguage(language.value === "en" ? "de" : "en"); }}
          lang={language.value === "en" ? "de" : "en"}>{language.value === "en" ? "Deutsch" : "English"}</button>
        <button class="plain" onClick={nextTheme}>{t({ auto: "light as the system", light: "light", dark: "dark" }[theme.value])}</button>
        <button class="plain" onClick={() => { helpOpen.value = !helpOpen.value; }} aria-expanded={helpOpen.value}>{t("keys")}</button>
      </div>
    </div>
  </header>;
}

function nextTheme(): void {
  theme.value = order[(order.indexOf(theme.value) + 1) % 3]!;
  store("theme", theme.value);
}

/** Whether what was entered is on the disk. */
function Kept() {
  const waiting = queue.value.length + outbox.value.length;
  const text = lost.value ? (waiting ? `${waiting} ${t("entered, kept in this browser until strandline answers again")}` : t("strandline does not answer; trying again"))
    : waiting ? t("keeping ...") : exam.value?.says.last || outbox.peek().length === 0 && keptOnce.value ? t("everything entered is kept") : "";
  return <span class={lost.value ? "kept lost" : "kept"} role="status">{text}</span>;
}

function Sentences() {
  if (!sentences.value.length) return null;
  return <div class="sentences" role="alert">
    {sentences.value.map(one => <p key={one}>{one}</p>)}
    <button class="plain" onClick={() => { sentences.value = []; }}>{t("read")}</button>
  </div>;
}

function Help() {
  useKeys(() => [{ keys: ["escape", "?"], does: t("close this list"), act: () => { helpOpen.value = false; } }], []);
  return <aside class="help" aria-label={t("Keys that hold now")}>
    <h2>{t("Keys that hold now")}</h2>
    <dl>
      {active.value.flat().filter(key => !key.hidden).map(key => <div key={key.does + key.keys[0]}>
        <dt>{key.keys.map(k => <kbd key={k}>{k.replace("arrow", "").replace("ctrl+", t("Ctrl "))}</kbd>)}</dt><dd>{key.does}</dd></div>)}
    </dl>
  </aside>;
}

function Foot() {
  return <footer class="foot">
    <strong>{t(tables.value?.caution ?? "Supports and does not replace a clinician’s judgement. Not a medical device. Local protocols and licensed practice come first.")}</strong>{" "}
    <span>{t(tables.value?.limits ?? "")}</span>
  </footer>;
}

function Page() {
  useEffect(() => {
    knock().then(in_ => { if (in_) return begin(); signedOut.value = true; return undefined; }).catch(trouble);
    const over = (event: DragEvent): void => { if (event.dataTransfer?.types.includes("Files")) event.preventDefault(); };
    const drop = (event: DragEvent): void => {
      if (!event.dataTransfer?.types.includes("Files")) return;
      event.preventDefault();
      void dropOn(event.dataTransfer);
    };
    addEventListener("dragover", over);
    addEventListener("drop", drop);
    const leaving = (event: BeforeUnloadEvent): void => { if (queue.value.length + outbox.value.length) event.preventDefault(); };
    addEventListener("beforeunload", leaving);
  }, []);
  useEffect(() => { // one examination alone: nothing to choose
    const only = place.value;
    if (only?.single && only.exams[0] && route.value.sheet === "list") go("chest", only.exams[0].id);
  }, [place.value, route.value]);
  useKeys(() => [
    { keys: ["?"], does: t("show or hide this list"), act: () => { helpOpen.value = !helpOpen.value; } },
    { keys: ["ctrl+z", "z"], does: t("take back the last entry"), act: () => { if (!undo()) say(t("There is nothing to take back.")); } },
    { keys: ["ctrl+y", "ctrl+Z", "Z"], does: t("put it back"), act: () => { if (!redo()) say(t("There is nothing to put back.")); } },
    { keys: ["C"], does: t("to the chest"), act: () => { if (route.value.exam) go("chest", route.value.exam); } },
    { keys: ["R"], does: t("to the report"), act: () => { if (route.value.exam) go("report", route.value.exam); } },
    { keys: ["B"], does: t("to the bench"), act: () => go("bench") },
    { keys: ["P"], does: t("to the plan"), act: () => go("plan") },
    { keys: ["S"], does: t("to the second reader"), act: () => go("readers") },
    { keys: ["L"], does: t("to learning"), act: () => go("learn") },
    { keys: ["E"], does: t("to the list of examinations"), act: () => go("list") },
    { keys: ["D"], does: t("light, dark or as the system"), act: nextTheme },
  ], [language.value]);
  const at = route.value;
  const ready = tables.value && (at.exam ? exam.value : true);
  return <>
    <a class="skip" href="#main" onClick={event => { event.preventDefault(); document.getElementById("main")?.focus(); }}>{t("to the content")}</a>
    <Top />
    <Sentences />
    <main id="main" tabIndex={-1} class={`sheet sheet-${at.sheet}`}>
      {signedOut.value ? <SignIn /> : !ready ? <p class="waiting">{lost.value ? t("strandline does not answer; trying again") : t("opening ...")}</p>
        : at.sheet === "list" ? <ListSheet />
        : at.sheet === "chest" ? <ChestSheet />
        : at.sheet === "clip" ? <ClipSheet key={at.clip} />
        : at.sheet === "report" ? <ReportSheet />
        : at.sheet === "bench" ? <BenchSheet />
        : at.sheet === "users" ? <UsersSheet />
        : at.sheet === "readers" ? <ReadersSheet key={at.at.join("/")} />
        : at.sheet === "learn" ? <LearnSheet key={at.at.join("/")} />
        : <PlanSheet />}
    </main>
    <Foot />
    {helpOpen.value && <Help />}
  </>;
}

render(<Page />, document.getElementById("page")!);
