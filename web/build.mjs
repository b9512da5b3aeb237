// Bundles the page into the folder given: page.js, page.css, index.html, fonts. The style sheet's variables are made
// from the same tokens as the PDF's drawing code.
import { build } from "esbuild";
import { copyFileSync, readFileSync, writeFileSync, mkdirSync } from "node:fs";
import { execFileSync } from "node:child_process";
import { join } from "node:path";
import { pairs, patterns } from "./words.mjs";

const out = process.argv[2] ?? "dist";
mkdirSync(out, { recursive: true });
await build({
  define: { REPORT_WORDS: JSON.stringify(pairs), REPORT_PATTERNS: JSON.stringify(patterns) },
  entryPoints: ["src/main.tsx"], bundle: true, minify: true, format: "iife", target: ["es2022"], outfile: join(out, "page.js"),
  jsx: "automatic", jsxImportSource: "preact", legalComments: "none", logLevel: "error", charset: "utf8",
});
const tokens = join(out, "tokens.tmp");
execFileSync("python3", ["../scripts/look_tokens.py", "--css", "../src/report/look.tokens", tokens]);
const sheet = [readFileSync(tokens, "utf8"), readFileSync("node_modules/uplot/dist/uPlot.min.css", "utf8"),
  ...["base", "strip", "clip", "bench", "study", "paper"].map(name => readFileSync(`src/style/${name}.css`, "utf8"))].join("\n");
const { rmSync } = await import("node:fs");
rmSync(tokens);
writeFileSync(join(out, "page.all.css"), sheet);
await build({ entryPoints: [join(out, "page.all.css")], minify: true, outfile: join(out, "page.css"), logLevel: "error", charset: "utf8" });
rmSync(join(out, "page.all.css"));
for (const name of ["index.html", "icon.svg"]) copyFileSync(`src/${name}`, join(out, name));
for (const name of ["DejaVuSans.woff2", "DejaVuSans-Bold.woff2"]) copyFileSync(`fonts/${name}`, join(out, name));
