// The page's words. English is written in the code; another language is a table from the English.
import { signal } from "@preact/signals";
import { german } from "./german";
import { germanStudy } from "./german_study";

export type Language = "en" | "de";
declare const REPORT_WORDS: Record<string, string>; // put in by web/build.mjs
const tablesOf: Record<Language, Record<string, string>> = { en: {}, de: { ...REPORT_WORDS, ...german, ...germanStudy } };

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

export function t(english: string): string {
  const table = tablesOf[language.value];
  return table[english] ?? (english.includes("; ") ? english.split("; ").map(part => table[part] ?? part).join("; ") : english);
}

/** A number's text with the language's decimal mark. */
export function decimal(text: string): string {
  return language.value === "de" ? text.replace(/(\d)\.(\d)/g, "$1,$2") : text;
}
