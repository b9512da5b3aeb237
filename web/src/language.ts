// The page's words. English is written in the code; another language is a table from the English.
import { signal } from "@preact/signals";
import { german } from "./german";
import { germanSending } from "./german_sending";
import { germanStudy } from "./german_study";

export type Language = "en" | "de";
declare const REPORT_WORDS: Record<string, string>; // put in by web/build.mjs
declare const REPORT_PATTERNS: [string, string][];
const tablesOf: Record<Language, Record<string, string>> = { en: {}, de: { ...REPORT_WORDS, ...german, ...germanSending, ...germanStudy } };

function first(): Language {
  try {
    const kept = localStorage.getItem("strandline-language");
    if (kept === "en" || kept === "de") return kept;
  } catch { /* private window */ }
  return "en";
}
export const language = signal<Language>(first());

export function setLanguage(to: Language): void {
  language.value = to;
  document.documentElement.lang = to;
  try { localStorage.setItem("strandline-language", to); } catch { /* private window */ }
}
document.documentElement.lang = language.value;

/** Sentences with numbers in them: the program's pattern, matched and filled again in the other language. */
const patterns: [RegExp, string][] = REPORT_PATTERNS.map(([english, other]) => {
  const order: string[] = [], body = english.replace(/[.*+?^$()|[\]\\]/g, "\\$&").replace(/\{(\d)\}/g, (_, n: string) => { order.push(n); return "(.+?)"; });
  return [new RegExp(`^${body}$`), other.replace(/\{(\d)\}/g, (_, n: string) => `{${order.indexOf(n) + 1}}`)] as [RegExp, string];
});
const filled = new Map<string, string>();

function byPattern(english: string): string | undefined {
  const known = filled.get(english);
  if (known !== undefined) return known || undefined;
  let made = "";
  for (const [pattern, other] of patterns) {
    const found = pattern.exec(english);
    if (found && (!made || other.length > made.length)) made = other.replace(/\{(\d)\}/g, (_, n: string) => decimal(t(found[Number(n)] ?? "")));
  }
  if (filled.size > 4000) filled.clear();
  filled.set(english, made);
  return made || undefined;
}

export function t(english: string): string {
  const table = tablesOf[language.value], there = table[english];
  if (there !== undefined || language.value === "en" || !english) return there ?? english;
  const whole = /\d|\u201c|"/.test(english) ? byPattern(english) : undefined;
  if (whole) return whole;
  if (english.includes("; ")) return english.split("; ").map(part => table[part] ?? (/\d/.test(part) ? byPattern(part) : undefined) ?? part).join("; ");
  return english;
}

/** A number's text with the language's decimal mark. */
export function decimal(text: string): string {
  return language.value === "de" ? text.replace(/(\d)\.(\d)/g, "$1,$2") : text;
}
