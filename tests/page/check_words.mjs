// Every sentence of the page that is written in the code has its German: the second language is not half a language.
// Usage: node check_words.mjs WEB_FOLDER
import { readdirSync, readFileSync } from "node:fs";
import { join, resolve } from "node:path";

const web = resolve(process.argv[2]), source = join(web, "src");
const unquote = text => JSON.parse(`"${text}"`);
const table = new Set();
for (const name of readdirSync(source).filter(one => /^german.*\.ts$/.test(one)))
  for (const found of readFileSync(join(source, name), "utf8").matchAll(/"((?:[^"\\]|\\.)*)": "((?:[^"\\]|\\.)*)"/g)) table.add(unquote(found[1]));
const words = code => Object.fromEntries(readFileSync(join(web, "..", "src", "report", `words.${code}`), "utf8").split("\n")
  .map(line => /^([a-z0-9_.-]+) = (.*\S)$/.exec(line)).filter(Boolean).map(found => [found[1], found[2]]));
const other = words("de");
for (const [key, text] of Object.entries(words("en"))) if (other[key]) table.add(text);
const missing = [];
for (const name of readdirSync(source).filter(one => /\.tsx?$/.test(one) && !/^german/.test(one)))
  for (const found of readFileSync(join(source, name), "utf8").matchAll(/\bt\("((?:[^"\\]|\\.)*)"/g)) {
    const english = unquote(found[1]);
    if (english && !table.has(english) && !missing.some(one => one.english === english)) missing.push({ name, english });
  }
for (const one of missing) console.log(`FAIL ${one.name}: ${JSON.stringify(one.english)} has no German in web/src/german.ts`);
console.log(`${table.size} words in the second language, ${missing.length} missing`);
process.exit(missing.length ? 1 : 0);
