// What the program itself says in sentences (the settings planner, the zones together) is German in the German page: asked of the
// program for every target, place, probe and set of rules, and put through the page's own translation. No English word may
// be left but in the names of sources. Usage: node check_sentences.mjs STRANDLINE WEB_FOLDER
import { execFileSync, spawnSync } from "node:child_process";
import { existsSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

const [program, web] = process.argv.slice(2).map(one => resolve(one));
if (!existsSync(join(web, "node_modules", "esbuild"))) { console.log("skipped: the page's packages are not here (npm ci in web/)"); process.exit(77); }
const { build } = createRequire(join(web, "package.json"))("esbuild"), { pairs, patterns } = await import(pathToFileURL(join(web, "words.mjs")));
const work = mkdtempSync(join(tmpdir(), "strandline-sentences-"));
globalThis.document = { documentElement: {} };
await build({ entryPoints: [join(web, "src", "language.ts")], bundle: true, format: "esm", outfile: join(work, "language.mjs"), logLevel: "error",
  define: { REPORT_WORDS: JSON.stringify(pairs), REPORT_PATTERNS: JSON.stringify(patterns) } });
const { t, setLanguage } = await import(pathToFileURL(join(work, "language.mjs")));
setLanguage("de");

const said = new Set();
const plan = (...words) => {
  const got = spawnSync(program, ["plan", ...words, "--json"], { encoding: "utf8" });
  if (got.status !== 0) return; // not every place has every target
  const all = JSON.parse(got.stdout);
  for (const line of all.lines) for (const text of [line.choice, line.formula, line.source, line.otherwise]) if (text) said.add(text);
  for (const note of all.notes) said.add(note);
};
for (const target of ["pleura", "a-lines", "b-lines", "consolidation", "effusion", "excursion", "thickness", "spine"]) {
  ["convex", "microconvex", "linear", "phased"].forEach((probe, i) => plan(target, "--probe", probe, "--rules", ["consensus", "practice", "least"][(i + said.size) % 3], "--wall-mm", ["12", "25", "60"][i % 3]));
  for (const place of ["anterior", "lateral", "posterolateral", "subcostal"]) plan(target, "--zone", place);
  for (const more of [["--harmonics"], ["--angles", "5"], ["--focal-zones", "3"], ["--depth-mm", "40"], ["--freq-mhz", "2.5"], ["--focus-mm", "150"],
    ["--frame-rate-hz", "10"], ["--dynamic-range-db", "40"], ["--dynamic-range-db", "90"]]) plan(target, ...more);
}
const planned = said.size;
execFileSync(program, ["simulate", "--demo", join(work, "demo")]);
for (const day of ["2031-03-04", "2031-03-06"]) {
  execFileSync(program, ["read", join(work, "demo", day), "--out", join(work, day)]);
  const all = JSON.parse(readFileSync(join(work, day, "exam.json"), "utf8")).synthesis;
  for (const key of ["interstitial", "symmetry", "gravity", "no_profile", "not_looked_at", "cannot_exclude"]) if (all[key]) said.add(all[key]);
}
rmSync(work, { recursive: true, force: true });

const english = /\b(the|and|of|at|is|are|from|no|not|with|where|which|than|by|to|source|practice|memory|our|frames|needed|pulses|seen|told|right|left)\b/;
const left = [...said].filter(one => english.test(t(one)));
for (const one of left) console.log(`FAIL ${JSON.stringify(one)}\n     ${JSON.stringify(t(one))}`);
console.log(`${planned} sentences of the planner and ${said.size - planned} of the zones together, ${left.length} not in German`);
process.exit(left.length || planned < 100 ? 1 : 0);
