// The page's words. English is written in the code; another language is a table from the English.
import { signal } from "@preact/signals";
import { german } from "./german";
import { germanBorders } from "./german_borders";
import { germanPlan } from "./german_plan";
import { germanPlanned } from "./german_planned";
import { germanSending } from "./german_sending";
import { germanStudy } from "./german_study";
import { germanTrace } from "./german_trace";

export type Language = "en" | "de";
declare const REPORT_WORDS: Record<string, string>; // put in by web/build.mjs
declare const REPORT_PATTERNS: [string, string][];
const tablesOf: Record<Language, Record<string, string>> = { en: {}, de: { ...REPORT_WORDS, ...german, ...germanPlan, ...germanPlanned, ...germanSending, ...germanStudy, ...germanTrace, ...germanBorders } };

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

/** Sentences with places {0} in them, matched and filled again in the other language. */
const patterns: [RegExp, string][] = [...REPORT_PATTERNS, ...Object.entries({ ...germanPlan, ...germanBorders }).filter(([english]) => english.includes("{"))].map(([english, other]) => {
  const order: string[] = [], body = english.replace(/[.*+?^$()|[\]\\]/g, "\\$&").replace(/\{(\d)\}/g, (_, n: string) => { order.push(n); return "(.+?)"; });
  return [new RegExp(`^${body}$`), other.replace(/\{(\d)\}/g, (_, n: string) => `{${order.indexOf(n) + 1}}`)] as [RegExp, string];
});
const filled = new Map<string, string>();

/** The longest of those that fit; what stands in the places is said in the other language, too. "" where none does. */
function byPattern(english: string): string {
  const known = filled.get(english);
  if (known !== undefined) return known;
  let made = "", length = 0;
  for (const [pattern, other] of patterns) {
    const found = other.length > length ? pattern.exec(english) : null;
    if (found) {
      made = other.replace(/\{(\d)\}/g, (_, n: string) => decimal(t(found[Number(n)] ?? "")));
      length = other.length;
    }
  }
  if (filled.size > 4000) filled.clear();
  filled.set(english, made);
  return made;
}

/** Several sentences, clauses or names in one. */
const joints: [RegExp, string][] = [[/(?<=\.) /, " "], [/; /, "; "], [/, /, ", "]];

export function t(english: string): string {
  if (language.value === "en" || !english) return english;
  const there = tablesOf[language.value][english] ?? byPattern(english);
  if (there) return there;
  for (const [joint, glue] of joints) {
    const parts = english.split(joint), said = parts.map(part => part === english ? part : t(part));
    if (parts.length > 1 && said.some((one, i) => one !== parts[i])) return said.join(glue);
  }
  return english;
}

/** A text's numbers with the language's decimal mark; a DOI stays as it is. */
export function decimal(text: string): string {
  return language.value === "de" ? text.replace(/10\.\d{4,}\/[^\s;)]+|(\d)\.(\d)/g, (all: string, a?: string, b?: string) => a ? `${a},${b!}` : all) : text;
}
