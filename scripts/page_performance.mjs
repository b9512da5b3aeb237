// Measures the page in Debian's Chromium and prints docs/performance.md. One command, from the project's folder:
//   node scripts/page_performance.mjs build/strandline [MINUTES] > docs/performance.md
// With MINUTES (60 without it) parts that there is no time for are cut short, and their rows say so.
// Everything runs on this machine; the load test (wrk, where it is there) asks the loopback address alone, 64 connections
// for 5 seconds.
import { execFileSync, spawn, spawnSync } from "node:child_process";
import { cpSync, existsSync, mkdirSync, mkdtempSync, readFileSync, readdirSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { cpus, tmpdir } from "node:os";
import { join, resolve } from "node:path";

const program = resolve(process.argv[2]), root = resolve(new URL("..", import.meta.url).pathname);
const { chromium } = createRequire(join(root, "web/package.json"))("playwright-core");
const work = mkdtempSync(join(tmpdir(), "strandline-performance-"));
const say = text => process.stderr.write(text + "\n");
const middle = values => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)];
const share = (values, p) => [...values].sort((a, b) => a - b)[Math.min(values.length - 1, Math.floor(values.length * p))];
const rss = pid => { try { return Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${pid}/status`, "utf8"))[1]) / 1024; } catch { return 0; } };
const until = Date.now() + 60000 * Number(process.argv[3] ?? 60), left = () => until - Date.now();
const rows = [];
const row = (what, wanted, got) => { rows.push(`| ${what} | ${wanted} | ${got} |`); say(`${what}: ${got}`); };

/** Processes below this one, with their command lines. */
function below(pid) {
  const all = readdirSync("/proc").filter(name => /^\d+$/.test(name)).map(name => {
    try { return { pid: Number(name), parent: Number(/\) \S (\d+)/.exec(readFileSync(`/proc/${name}/stat`, "utf8"))[1]), line: readFileSync(`/proc/${name}/cmdline`, "utf8") }; } catch { return null; }
  }).filter(Boolean);
  const mine = new Set([pid]);
  for (let grew = true; grew;) { grew = false; for (const one of all) if (mine.has(one.parent) && !mine.has(one.pid)) { mine.add(one.pid); grew = true; } }
  return all.filter(one => mine.has(one.pid) && one.pid !== pid);
}
const pagesMemory = () => below(process.pid).filter(one => one.line.includes("--type=renderer")).reduce((most, one) => Math.max(most, rss(one.pid)), 0);

const server = await new Promise(done => {
  say("making the demo and fifty clips of it");
  execFileSync(program, ["simulate", "--demo", join(work, "place")]);
  mkdirSync(join(work, "place", "fifty"));
  const day = join(work, "place", "2031-03-06"), clips = readdirSync(day).filter(name => name.endsWith(".mp4"));
  for (let i = 0; i < 50; i++) cpSync(join(day, clips[i % clips.length]), join(work, "place", "fifty", `clip-${String(i + 1).padStart(2, "0")}.mp4`));
  const started = spawn(program, ["serve", join(work, "place")]);
  let said = "";
  started.stdout.on("data", piece => { said += piece; const found = /http:\/\/\S+\/\n/.exec(said); if (found) done({ process: started, address: found[0].trim() }); });
});
const { address } = server;
try {
  // ---- weight ----
  const names = ["", "page.js", "page.css", "icon.svg", "DejaVuSans.woff2", "DejaVuSans-Bold.woff2"];
  let weight = 0;
  for (const name of names) weight += Number((await fetch(address + name, { method: "HEAD" })).headers.get("content-length") ?? 0);
  if (!weight) weight = 0;
  const heads = names.map(name => spawnSync("curl", ["-s", "-o", "/dev/null", "-w", "%{size_download}", "-H", "Accept-Encoding: gzip", address + name], { encoding: "utf8" }));
  weight = heads.reduce((sum, one) => sum + Number(one.stdout), 0);
  row("page weight, compressed, fonts included", "at most 200 kB", `${(weight / 1000).toFixed(0)} kB`);

  const { exams } = await (await fetch(address + "api/exams")).json();
  const ids = Object.fromEntries(exams.map(one => [one.name, one.id]));
  const begun = performance.now();
  let firstResult = 0, state;
  do { state = await (await fetch(`${address}api/exams/${ids["2031-03-06"]}`)).json(); if (!firstResult && state.done) firstResult = performance.now() - begun; await new Promise(r => setTimeout(r, 15)); } while (state.state !== "ready");
  row("first of 7 clips read, from opening the examination", "", `${firstResult.toFixed(0)} ms`);
  row("all 7 clips read and the report drawn", "", `${((performance.now() - begun) / 1000).toFixed(1)} s`);

  const browser = await chromium.launch({ executablePath: "/usr/bin/chromium", args: ["--no-sandbox", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--disable-gpu", "--enable-unsafe-swiftshader"] });
  const page = await (await browser.newContext({ viewport: { width: 1440, height: 900 } })).newPage();
  page.setDefaultTimeout(120000);

  // ---- first picture ----
  const firsts = [];
  for (let i = 0; i < 7; i++) {
    await page.goto(`${address}#/exam/${ids["2031-03-06"]}`);
    await page.reload();
    await page.waitForSelector(".tile .picture img");
    await page.waitForTimeout(300);
    firsts.push(await page.evaluate(async clip => {
      const start = performance.now();
      location.hash += `/${clip}`;
      for (;;) { await new Promise(requestAnimationFrame); const mark = performance.getEntriesByName(`first-picture ${clip}`)[0]; if (mark) return mark.startTime - start; }
    }, state.clips[i % state.clips.length].id));
  }
  row("first picture of a clip, from the click", "200 ms", `${middle(firsts).toFixed(0)} ms (middle of ${firsts.length}; most ${Math.max(...firsts).toFixed(0)})`);

  // ---- scrubbing ----
  await page.waitForFunction(() => Number(document.querySelector(".axis")?.getAttribute("aria-valuemax")) > 70);
  await page.waitForTimeout(500);
  const scrub = await page.evaluate(async most => {
    const gaps = [], work = [], canvas = document.querySelector("canvas[data-frame]");
    let last = await new Promise(requestAnimationFrame), shown = 0, before = canvas.dataset.frame;
    const begun = performance.now();
    for (let i = 0; i < 500 && performance.now() - begun < most; i++) {
      const start = performance.now();
      dispatchEvent(new KeyboardEvent("keydown", { key: "ArrowRight" }));
      work.push(performance.now() - start);
      if (canvas.dataset.frame !== before) shown++;
      before = canvas.dataset.frame;
      const now = await new Promise(requestAnimationFrame);
      gaps.push(now - last);
      last = now;
    }
    return { gaps, work, shown };
  }, left() / 3);
  const dropped = scrub.gaps.reduce((sum, gap) => sum + Math.max(0, Math.round(gap / (1000 / 60)) - 1), 0);
  row(`scrubbing, ${scrub.gaps.length} steps of one frame, fan and straightened with marks and threads: pictures a second`, "60", `${(1000 / (scrub.gaps.reduce((a, b) => a + b) / scrub.gaps.length)).toFixed(0)}`);
  row("... steps shown; screen refreshes missed", `${scrub.gaps.length}; 0`, `${scrub.shown}; ${dropped}`);
  row("... work of the page for a step", "", `${middle(scrub.work).toFixed(1)} ms (95 of 100 below ${share(scrub.work, 0.95).toFixed(1)} ms)`);

  // ---- the motion trace, its line moved step by step ----
  const moved = await page.evaluate(async () => {
    const got = [], trace = document.querySelector(".trace"), frame = () => new Promise(requestAnimationFrame);
    while (!trace.dataset.drawn) await frame(); // the clip's first, for which it is straightened
    for (let i = 0; i < 20; i++) {
      await new Promise(done => setTimeout(done, 150));
      const before = trace.dataset.drawn, from = trace.toDataURL(), start = performance.now();
      dispatchEvent(new KeyboardEvent("keydown", { key: i % 2 ? "[" : "]" }));
      while (trace.dataset.drawn === before || (performance.now() - start < 2000 && trace.toDataURL() === from)) await frame();
      got.push(performance.now() - start);
    }
    return got;
  });
  row("motion trace of a line that was moved: on the screen after", "100 ms", `${middle(moved).toFixed(0)} ms (most ${Math.max(...moved).toFixed(0)})`);

  // ---- bench ----
  await page.goto(`${address}#/bench`);
  await page.waitForSelector(".bench-picture canvas[data-latency]");
  const turn = async (path, times) => {
    const got = [];
    for (let i = 0; i < times; i++) {
      const count = await page.$eval(".bench-picture canvas", one => Number(one.dataset.answers));
      await page.focus(`[data-path="${path}"]`);
      await page.keyboard.press("ArrowRight");
      await page.waitForFunction(n => Number(document.querySelector(".bench-picture canvas").dataset.answers) > n, count);
      got.push(await page.$eval(".bench-picture canvas", one => Number(one.dataset.latency)));
    }
    return got;
  };
  for (const [path, name] of [["controls.gain_db", "gain"], ["controls.depth_mm", "depth"], ["controls.focus_mm", "focus"], ["probe.freq_mhz", "frequency"], ["controls.compound_angles", "compounding"]]) {
    const got = await turn(path, path.endsWith("angles") ? 4 : 12);
    row(`bench, ${name} turned: picture on the screen after (400 lines high)`, "100 ms", `${middle(got).toFixed(0)} ms (most ${Math.max(...got).toFixed(0)})`);
  }

  // ---- memory ----
  const fifty = await (async () => { let got; do { got = await (await fetch(`${address}api/exams/${ids["fifty"]}`)).json(); await new Promise(r => setTimeout(r, 300)); } while (got.state !== "ready" && got.state !== "failed"); return got; })();
  const memory = [];
  let seen = 0;
  for (const [i, clip] of fifty.clips.entries()) {
    await page.goto(`${address}#/exam/${ids["fifty"]}/${clip.id}`);
    await page.waitForFunction(id => performance.getEntriesByName(`first-picture ${id}`).length, clip.id);
    await page.waitForFunction(() => Number(document.querySelector(".axis")?.getAttribute("aria-valuemax")) > 60);
    seen = i + 1;
    if (i === 9) memory.push(pagesMemory());
    if (i === 49 || left() < 40000) { memory.push(pagesMemory()); break; }
  }
  row(`the browser's memory for the page after 10 and after ${seen} clips (frames kept: at most 420 MB)`, "", `${memory.map(one => one.toFixed(0)).join(" and ")} MB`);
  row("the server's memory after that", "", `${rss(server.process.pid).toFixed(0)} MB`);
  await browser.close();

  // ---- load ----
  if (existsSync("/usr/bin/wrk")) {
    for (const [path, name] of [["", "the page"], ["api/tables", "the tables"], [`api/exams/${ids["2031-03-06"]}`, "an examination"]]) {
      const before = rss(server.process.pid);
      const out = spawnSync("wrk", ["-t2", "-c64", "-d5s", address + path], { encoding: "utf8" }).stdout;
      const errors = /Socket errors: (.*)/.exec(out)?.[1] ?? "none", bad = /Non-2xx or 3xx responses: (\d+)/.exec(out)?.[1] ?? "0";
      row(`load: 64 connections for 5 s on ${name}: answers a second; errors; memory before and after`, "no error, flat",
        `${Number(/Requests\/sec:\s+([\d.]+)/.exec(out)?.[1] ?? 0).toFixed(0)}; ${errors === "none" && bad === "0" ? "none" : `${errors}, ${bad} refused`}; ${before.toFixed(0)} and ${rss(server.process.pid).toFixed(0)} MB`);
    }
  }
} finally {
  server.process.kill("SIGTERM");
  rmSync(work, { recursive: true, force: true });
}
const load = readFileSync("/proc/loadavg", "utf8").split(" ").slice(0, 1);
console.log(`# How fast the page is

Made by \`node scripts/page_performance.mjs build/strandline > docs/performance.md\` on ${cpus().length} cores (${cpus()[0].model.trim()}), Debian's
Chromium as it runs where there is no graphics card (pages put together by the processor, WebGL in software), load average ${load} when it ended. On the demo examination: 7 clips of 80 frames,
about 700 x 480 pixels. A machine with a graphics card draws faster.

| what | wanted | measured |
| --- | --- | --- |
${rows.join("\n")}`);
