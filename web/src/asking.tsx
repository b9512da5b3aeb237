// Questions on one clip, a row a finding: answered by a key or a touch. What an answer is worth is decided elsewhere.
import { useEffect, useRef, useState } from "preact/hooks";
import type { ComponentChildren } from "preact";
import { useKeys } from "./keys";
import { language, t } from "./language";
import type { FindingRow } from "./types";
import { answerWord, factor, number, row, unit } from "./words";

export type Answers = Record<string, string>; // finding -> "yes", "no", "uncertain" or a number

/** What an answer reads like. */
export function answerWords(info: FindingRow, word: string | undefined): string {
  if (!word) return t("open");
  if (word === "uncertain") return t("could not tell");
  if (info.kind === "answer") return answerWord(word === "yes" ? "present" : "absent");
  return `${number(info, Number(word))} ${unit(info, Number(word))}`.trim();
}

export function Asking({ codes, answers, put, next, beneath, closed = false }: {
  codes: string[]; answers: Answers; put: (code: string, word: string) => void; next?: (() => void) | undefined; closed?: boolean;
  beneath?: (code: string) => ComponentChildren;
}) {
  const [at, setState] = useState(0), now = useRef(0), list = useRef<HTMLOListElement>(null), rows = codes.map(code => row(code)).filter((one): one is FindingRow => !!one);
  const here = Math.min(at, rows.length - 1);
  const setAt = (to: number): void => { now.current = to; setState(to); }; // at once: keys may come faster than the page is drawn
  useEffect(() => { setAt(0); }, [codes.join()]);
  const go = (to: number): void => {
    const index = (to + rows.length) % rows.length;
    setAt(index);
    requestAnimationFrame(() => list.current?.children[index]?.querySelector<HTMLElement>("button, input")?.focus());
  };
  const say = (word: string) => (): void => {
    const info = rows[now.current];
    if (!info || closed) return;
    if (word !== "uncertain" && info.kind !== "answer") return;
    put(info.key, word);
    if (now.current < rows.length - 1) go(now.current + 1);
  };
  const digit = (event: KeyboardEvent): void => {
    const info = rows[now.current];
    if (!info || closed || info.kind !== "ordered" && info.kind !== "count" || Number(event.key) > info.high) return;
    put(info.key, event.key);
    if (now.current < rows.length - 1) go(now.current + 1);
  };
  useKeys(() => [
    { keys: ["arrowdown"], does: t("the next question"), act: () => go(now.current + 1) },
    { keys: ["arrowup"], does: t("the question before"), act: () => go(now.current - 1) },
    { keys: ["y"], does: t("seen"), act: say("yes") },
    { keys: ["n"], does: t("none seen"), act: say("no") },
    { keys: ["x"], does: t("could not tell"), act: say("uncertain") },
    { keys: ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9"], does: t("this score or count"), act: digit },
    ...next ? [{ keys: ["enter"], does: t("on"), act: next }] : [],
  ], [here, rows.map(one => one.key).join(), closed, next, put, language.value]);
  return <ol class="asking" ref={list}>
    {rows.map((info, i) => <li key={info.key} class={`question ${i === here && !closed ? "question-here" : ""}`} data-asked={info.key} onFocusCapture={() => setAt(i)}>
      <p class="question-name" id={`ask-${info.key}`}>{t(info.name)}{info.unit === "mm" ? " (mm)" : ""}</p>
      <div class="choices" role="group" aria-labelledby={`ask-${info.key}`}>
        {info.kind === "answer" && (["yes", "no"] as const).map(word => <Choice key={word} on={answers[info.key] === word} closed={closed} act={() => put(info.key, word)}>{answerWords(info, word)}</Choice>)}
        {(info.kind === "ordered" || info.kind === "count") && Array.from({ length: info.kind === "ordered" ? 4 : 7 }, (_, n) => String(n)).map(word =>
          <Choice key={word} on={answers[info.key] === word} closed={closed} act={() => put(info.key, word)} extra={info.kind === "ordered" ? `score-${word}` : ""}>{word}</Choice>)}
        {(info.kind === "count" || info.kind === "amount") && <Field info={info} value={answers[info.key]} closed={closed} put={put} />}
        <Choice on={answers[info.key] === "uncertain"} closed={closed} act={() => put(info.key, "uncertain")}>{t("could not tell")}</Choice>
      </div>
      {beneath?.(info.key)}
    </li>)}
  </ol>;
}

function Choice({ on, act, children, closed, extra = "" }: { on: boolean; act: () => void; children: ComponentChildren; closed: boolean; extra?: string }) {
  return <button class={`choice ${extra}`} aria-pressed={on ? "true" : "false"} disabled={closed && !on} onClick={() => { if (!closed) act(); }}>{children}</button>;
}

function Field({ info, value, put, closed }: { info: FindingRow; value: string | undefined; put: (code: string, word: string) => void; closed: boolean }) {
  const [text, setText] = useState(""), k = factor(info);
  useEffect(() => { setText(value && value !== "uncertain" ? k > 1 ? String(+(Number(value) * k).toFixed(1)) : value : ""); }, [value]);
  const keep = (): void => {
    const v = Number(text.replace(",", ".")) / k;
    if (text.trim() && Number.isFinite(v) && String(v) !== value) put(info.key, String(v));
  };
  return <label class="question-field"><input inputMode="decimal" size={5} value={text} disabled={closed} aria-label={`${t(info.name)}: ${t("a number")}`}
    onInput={e => setText((e.target as HTMLInputElement).value)} onBlur={keep} onKeyDown={e => { if (e.key === "Enter") keep(); }} /> {unit(info, null)}</label>;
}

/** Findings to ask for, the usual ones first. */
export function AskedFor({ all, chosen, set }: { all: FindingRow[]; chosen: string[]; set: (codes: string[]) => void }) {
  return <fieldset class="asked-for"><legend>{t("What is asked")}</legend>
    {all.map(info => <label key={info.key}><input type="checkbox" checked={chosen.includes(info.key)} name="asked" value={info.key}
      onChange={e => set((e.target as HTMLInputElement).checked ? all.map(one => one.key).filter(key => key === info.key || chosen.includes(key)) : chosen.filter(key => key !== info.key))} /> {t(info.name)}{info.unit === "mm" ? " (mm)" : ""}</label>)}
  </fieldset>;
}
export const usual = ["a_lines", "b_lines", "score"];
