import { readFileSync } from "node:fs";

// Pairs of the report's language files without places to fill in: names, units, reasons, caution.
const wordsOf = code => Object.fromEntries(["words", "words_audit"].flatMap(name => readFileSync(new URL(`../src/report/${name}.${code}`, import.meta.url), "utf8").split("\n")).map(line => /^([a-z0-9_.-]+) = (.*\S)$/.exec(line)).filter(Boolean).map(found => [found[1], found[2]]));
const english = wordsOf("en"), other = wordsOf("de");
export const pairs = {}, patterns = []; // patterns have places {0} for numbers
const shown = /^(finding|place|reason|unit|caution|limits|state|stated|note|audit|rescan|profile|pattern|posture|sum|side|scheme|change|evidence)\./;
for (const [key, text] of Object.entries(english))
  if (other[key] && other[key] !== text && (shown.test(key) || /^(caution|limits)/.test(key))) { if (text.includes("{")) patterns.push([text, other[key]]); else pairs[text] = other[key]; }
for (const side of ["right", "left"])
  for (const [key, text] of Object.entries(english)) if (key.startsWith("place.")) pairs[`${side} ${text}`] = `${side === "right" ? "rechts" : "links"} ${other[key]}`;
