// "What would you change?": a chest under settings that do not serve; what the learner changes is judged by the audit.
import { useState } from "preact/hooks";
import { post } from "./api";
import { t } from "./language";
import { store, trouble } from "./state";
import type { Bench, Complaint, Judged, Task } from "./types";
import { zoneName } from "./words";

type Settings = Record<string, number | boolean | string>;

function solved(): string[] {
  try { return JSON.parse(localStorage.getItem("strandline-tasks") ?? "[]") as string[]; } catch { return []; }
}

export function Tasks({ bench, task, set, begin }: { bench: Bench; task: Task | null; set: Settings; begin: (task: Task | null) => void }) {
  const [judged, setJudged] = useState<(Judged & { set: Settings }) | null>(null), [busy, setBusy] = useState(false), [done, setDone] = useState(solved);
  const at = task ? bench.tasks.indexOf(task) : -1, stale = judged && JSON.stringify(judged.set) !== JSON.stringify(set);
  const take = (one: Task | null): void => { setJudged(null); begin(one); };
  const judge = (): void => {
    if (!task) return;
    const asked = set;
    setBusy(true);
    post<Judged>("api/bench", { task: task.key, set: asked }).then(got => {
      setJudged({ ...got, set: asked });
      if (got.solved && !done.includes(task.key)) { const all = [...done, task.key]; setDone(all); store("tasks", JSON.stringify(all)); }
    }).catch(trouble).finally(() => setBusy(false));
  };
  const touched = task ? Object.keys(set).some(path => set[path] !== task.set[path]) : false;
  return <section class="tasks" aria-label={t("What would you change?")}>
    <h2>{t("What would you change?")}</h2>
    <nav class="codes" aria-label={t("Tasks")}>{bench.tasks.map((one, i) => <button key={one.key} class={`code ${done.includes(one.key) ? "code-done" : ""}`} data-task={one.key} aria-current={one === task ? "true" : undefined}
      aria-label={`${t("task")} ${i + 1}${done.includes(one.key) ? `, ${t("done")}` : ""}`} onClick={() => take(one)}>{i + 1}</button>)}
      {task && <button class="plain" onClick={() => take(null)}>{t("back to the free bench")}</button>}</nav>
    {task ? <>
      <p class="task-ask"><b>{t(task.ask)}</b> <span class="quiet">{zoneName(task.zone)}. {t("Change the controls until the picture serves; the audit that judges clips judges yours.")}</span></p>
      <p class="row-acts"><button class="act" disabled={busy} onClick={judge}>{busy ? t("recording six seconds and judging them ...") : t("Judge it")}</button>
        {judged?.solved && at < bench.tasks.length - 1 && <button class="plain" onClick={() => take(bench.tasks[at + 1]!)}>{t("next task")}</button>}</p>
      <div class="verdict" role="status">{judged && !stale ? <>
        <p><b>{judged.solved ? t("It serves now.") : touched ? t("Not yet.") : t("Nothing was changed yet.")}</b> {judged.solved ? `${judged.changed} ${t(judged.changed === 1 ? "control changed." : "controls changed.")}` : ""}</p>
        {judged.left.map(one => <Said key={one.rule} one={one} word={t("still")} more />)}
        {judged.new.map(one => <Said key={one.rule} one={one} word={t("new")} more />)}
        {judged.gone.map(one => <Said key={one.rule} one={one} word={t("gone")} more={judged.solved} />)}
      </> : judged ? <p class="quiet">{t("The controls were turned since it was judged.")}</p> : null}</div>
    </> : <p class="quiet">{t("Pick a task: a chest under settings that do not serve.")}</p>}
  </section>;
}

function Said({ one, word, more }: { one: Complaint; word: string; more: boolean }) {
  return <p class="said-of" data-rule={one.rule}><b>{word}: {t(one.complaint)}</b> ({t(one.grade)}): {t(one.found)}.{more ? <> {t(one.reason)} {word === t("gone") ? "" : t(one.remedy)} <small class="quiet">{t(one.source)}</small></> : null}</p>;
}
