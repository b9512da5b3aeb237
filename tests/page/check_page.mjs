// The page in a browser (Debian's Chromium, driven by playwright-core), on the demo examination: a whole reading by
// keyboard alone, what is entered kept through lost connections, every view held to axe-core's rules (WCAG 2.1 A and AA),
// nothing fetched from elsewhere. Pictures drawn by WebGL are held against those that the C code straightened.
// Usage: node check_page.mjs STRANDLINE WEB_FOLDER [FOLDER_FOR_SCREENSHOTS]
import { spawn, spawnSync } from "node:child_process";
import { cpSync, existsSync, mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { attend, audit as auditOn, check, open, program, run, shot as shotOf, shots, start as serve, stop, watch, web, work } from "./harness.mjs";

const start = () => serve(join(work, "demo"), ["--store", join(work, "store")]);

await run(async () => {
  const made = spawnSync(program, ["simulate", "--demo", join(work, "demo")]);
  if (made.status !== 0) throw new Error("the demo examination could not be made");
  let address = await start();
  const context = await open(), page = attend(await context.newPage());
  const audit = (name, on = page) => auditOn(name, on), shot = name => shotOf(name, page);
  const own = async code => { // as drawn: a busy machine draws a moment after the key
    await page.evaluate(() => new Promise(done => requestAnimationFrame(() => requestAnimationFrame(done))));
    return page.textContent(`[data-row="${code}"] .row-own`);
  };
  const journal = () => existsSync(said) ? readFileSync(said, "utf8").trim().split("\n").map(JSON.parse) : [];
  const said = join(work, "demo", "2031-03-06", "report", "says.jsonl");
  const settled = () => page.waitForFunction(() => /kept$|festgehalten$/.test(document.querySelector(".kept")?.textContent ?? ""));

  // ---- the list and the chest, by keyboard ----
  await page.goto(address);
  await page.waitForSelector(".exams a");
  check((await page.$$(".exams a")).length === 2, "both dates of the demo are listed");
  await audit("examinations");
  check((await page.textContent(".foot")).includes("does not replace"), "the caution stands on the first view");
  await page.focus(".exams li:nth-child(2) a");
  await page.keyboard.press("Enter");
  await page.waitForSelector(".tile .picture img");
  await page.waitForFunction(() => !document.querySelector(".progress progress") && document.querySelector(".rescan"));
  check((await page.$$(".tile")).length === 8, "eight zones");
  check((await page.textContent(".rescan")).includes("left basal lateral"), "what to scan again comes first, and names the zone that is missing");
  const order = await page.$eval(".hand", hand => [...hand.children].map(one => one.className).join());
  check(order.startsWith("rescan"), `the list of what to scan again is the first thing beside the chest (${order})`);
  check(await page.$eval('[data-zone="L-basal-lateral"]', tile => tile.classList.contains("tile-unknown") && tile.textContent.includes("no clip")), "a zone without a clip is hatched and says so");
  const right = await page.$eval('[data-zone="R-upper-lateral"]', one => one.getBoundingClientRect().left), left = await page.$eval('[data-zone="L-upper-lateral"]', one => one.getBoundingClientRect().left);
  check(right < left, "the patient's right side is on the left, as one faces the chest");
  await page.focus('[data-zone="R-lower-anterior"]');
  await page.keyboard.press("ArrowUp");
  check(await page.$eval('[data-zone="R-upper-anterior"]', one => one === document.activeElement), "arrow keys walk round the chest");
  await page.keyboard.press("ArrowLeft");
  check(await page.$eval('[data-zone="R-upper-lateral"]', one => one === document.activeElement), "towards the spine, too");
  check((await page.$$(".threads .thread")).length >= 2, "threads lead from the numbers to the tile");
  await audit("chest");
  await page.waitForSelector(".since");
  await page.waitForFunction(() => !document.querySelector(".progress progress"));
  await page.keyboard.press("t");
  await page.waitForSelector(".before img");
  check((await page.$$(".before img")).length === 7 && (await page.textContent(".since")).includes("2031-03-04"), "both dates of the same person stand side by side, zone by zone");
  await audit("chest with two dates");
  await page.keyboard.press("t");
  check(!(await page.$(".before")), "and the earlier one goes again");
  await page.focus('[data-zone="R-upper-lateral"]');
  await shot("chest");
  await page.keyboard.press("Enter");

  // ---- the clip ----
  await page.waitForSelector('[data-picture="straight"] canvas[data-frame]');
  await page.waitForFunction(() => document.querySelector(".axis")?.getAttribute("aria-valuemax") > 70);
  await page.waitForTimeout(300);
  const frame = () => page.$eval('[data-picture="fan"] canvas', canvas => Number(canvas.dataset.frame));
  const painter = await page.$eval('[data-picture="fan"] canvas', canvas => canvas.dataset.painter);
  console.log(`      drawn by ${painter}`);
  await audit("clip");
  const difference = await page.evaluate(async () => { // the page's straightened picture against the C code's
    const canvas = document.querySelector('[data-picture="straight"] canvas'), id = location.hash.split("/").at(-1), exam = location.hash.split("/")[2];
    const image = new Image();
    image.src = `api/exams/${exam}/clips/${id}/straightened.jpg`;
    await image.decode();
    const grey = source => {
      const sheet = document.createElement("canvas");
      sheet.width = 64; sheet.height = 128;
      const c = sheet.getContext("2d");
      c.imageSmoothingQuality = "high";
      c.drawImage(source, 0, 0, 64, 128);
      return c.getImageData(0, 0, 64, 128).data.filter((_, i) => i % 4 === 0);
    };
    const a = grey(canvas), b = grey(image);
    return { mean: a.reduce((sum, v, i) => sum + Math.abs(v - b[i]), 0) / a.length, level: a.reduce((sum, v) => sum + v, 0) / a.length };
  });
  check(difference.level > 10 && difference.mean < 6, `the straightened picture is the C code's (mean difference ${difference.mean.toFixed(2)} of 255 levels)`);
  let at = await frame();
  await page.keyboard.press("ArrowRight");
  check(await frame() === at + 1, "an arrow key steps one frame");
  await page.hover('[data-picture="fan"] .room');
  await page.mouse.wheel(0, 120);
  await page.waitForTimeout(80);
  check(await frame() === at + 2, "the wheel steps one frame");
  const box = await (await page.$('[data-picture="fan"] .room')).boundingBox();
  await page.mouse.move(box.x + box.width * 0.25, box.y + box.height * 0.85);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width * 0.75, box.y + box.height * 0.85, { steps: 6 });
  await page.mouse.up();
  check(Math.abs(await frame() - (at + 2)) > 15, "dragging over the picture scrubs");
  await page.keyboard.press("Home");
  await page.keyboard.press("Space");
  await page.waitForFunction(() => Number(document.querySelector('[data-picture="fan"] canvas').dataset.frame) > 4);
  await page.keyboard.press("Space");
  const ran = await frame();
  await page.waitForTimeout(120);
  check(ran > 4 && await frame() === ran, `it plays and is held (at frame ${ran})`);
  const straight = await (await page.$('[data-picture="straight"] canvas')).boundingBox();
  const traces = () => page.$eval(".trace", one => Number(one.dataset.drawn));
  const before = await traces(), picture = await page.$eval(".trace", one => one.toDataURL());
  await page.mouse.move(straight.x + straight.width / 2, straight.y + straight.height / 2);
  await page.mouse.down();
  for (let i = 1; i <= 6; i++) { await page.mouse.move(straight.x + straight.width * (0.5 - 0.05 * i), straight.y + straight.height / 2); await page.waitForTimeout(40); }
  const during = await traces();
  await page.mouse.up();
  check(during >= before + 4 && await page.$eval(".trace", one => one.toDataURL()) !== picture, `the motion trace follows while its line is dragged (${during - before} times)`);
  await page.keyboard.press("m");
  check((await page.$$(".threads .thread")).length === 0, "one key hides all marks and threads");
  await page.keyboard.press("m");
  const light = () => page.$eval('[data-picture="fan"] canvas', canvas => { const c = document.createElement("canvas"); c.width = c.height = 32; const x = c.getContext("2d"); x.drawImage(canvas, 0, 0, 32, 32); return x.getImageData(0, 0, 32, 32).data.reduce((s, v) => s + v, 0); });
  const dim = await light();
  await page.keyboard.press("+");
  await page.waitForTimeout(60);
  check(await light() > dim, "brightness of the screen");
  await page.keyboard.press("-");

  // ---- deciding, by keyboard alone ----
  const programs = await page.$$eval(".row-value", all => all.map(one => one.textContent));
  await page.click('[data-row="score"] .face');
  await page.keyboard.press("ArrowDown");
  await page.waitForFunction(() => document.activeElement?.closest("[data-row]")?.dataset.row === "b_lines");
  check(true, "arrow keys walk through the numbers");
  await page.keyboard.press("n");
  await settled();
  check((await own("b_lines")).includes("none seen") && journal().length === 1, "n enters 'none seen', and it is on the disk");
  await page.keyboard.press("z");
  await settled();
  check((await own("b_lines")) === "open" && journal().length === 2, "z takes it back; the journal keeps both");
  await page.keyboard.press("Z");
  await settled();
  check((await own("b_lines")).includes("none seen"), "Z puts it back");
  await page.keyboard.press("ArrowDown");
  await page.keyboard.press("4");
  await settled();
  check((await own("b_line_count")).startsWith("4"), "a digit enters a count");
  await page.keyboard.press("ArrowUp");
  await page.keyboard.press("ArrowUp");
  await page.keyboard.press("3");
  await settled();
  await page.keyboard.press("A");
  await page.waitForFunction(() => ![...document.querySelectorAll(".row-own")].some(one => one.textContent === "open"));
  await settled();
  check((await page.$$eval(".row-value", all => all.map(one => one.textContent))).join() === programs.join(), "the program's reads stay as they were");
  await page.click('[data-row="a_lines"] .face');
  await page.click('[data-row="a_lines"] .row-acts button');
  await page.mouse.click(straight.x + straight.width * 0.3, straight.y + straight.height * 0.6);
  await settled();
  const marked = journal().at(-1).say.place?.[0];
  check(marked && Math.abs(marked.beam - 0.3) < 0.02 && Math.abs(marked.depth - 0.6) < 0.02, "a place clicked in the picture is kept with its frame, beam and depth");
  await page.click('[data-row="pleura_depth_mm"] .face');
  await page.evaluate(() => scrollTo(0, 0)); // the row may lie far down
  const again = await (await page.$('[data-picture="straight"] canvas')).boundingBox();
  await page.keyboard.press("d");
  await page.mouse.click(again.x + again.width * 0.5, again.y + again.height * 0.1);
  await page.waitForTimeout(60);
  await page.mouse.click(again.x + again.width * 0.5, again.y + again.height * 0.6);
  await page.waitForSelector(".measured output");
  const deep = await page.evaluate(async () => { const [, , exam, id] = location.hash.split("/"); return (await (await fetch(`api/exams/${exam}`)).json()).clips.find(one => one.id === id).scale.imaged_depth_mm; });
  const measured = parseFloat(await page.textContent(".measured output"));
  check(Math.abs(measured - deep / 2) < 0.01 * deep, `half the depth measured by hand is half the depth: ${measured} of ${deep} mm`);
  await page.click(".measured button:has-text('enter as')");
  await settled();
  check(Math.abs(journal().at(-1).say.value - measured) < 0.06 && journal().at(-1).say.low < measured && journal().at(-1).say.high > measured, "it is entered with its interval and its two places");
  // on the motion trace: half of the line (the whole depth) and half of the clip
  await page.waitForFunction(() => Number(document.querySelector(".axis")?.getAttribute("aria-valuemax")) > 70);
  const half = await page.evaluate(() => Number(document.querySelector(".axis").getAttribute("aria-valuemax")) + 1);
  await page.selectOption(".measured select", "trace");
  await page.click(".measured button:has-text('measure it')");
  const trace = await (await page.$("canvas.trace")).boundingBox();
  await page.mouse.click(trace.x + trace.width * 0.25, trace.y + trace.height * 0.2);
  await page.mouse.click(trace.x + trace.width * 0.75, trace.y + trace.height * 0.7);
  await page.waitForFunction(() => /mm\/s/.test(document.querySelector(".measured output")?.textContent ?? ""));
  const [way, time, speed] = (await page.textContent(".measured output")).split(" · ").map(parseFloat);
  const lasts = await page.evaluate(async () => { const [, , exam, id] = location.hash.split("/"); return (await (await fetch(`api/exams/${exam}`)).json()).clips.find(one => one.id === id).duration_s; });
  check(Math.abs(way - deep / 2) < 0.02 * deep && Math.abs(time - lasts / 2) < 2 * lasts / half && Math.abs(speed - way / time) < 0.02 * speed + 0.1,
    `on the motion trace: ${way} mm in ${time} s of ${lasts}, ${speed} mm/s`);
  await page.reload();
  await page.waitForSelector('[data-row="b_lines"]');
  check((await own("b_lines")).includes("none seen"), "after a reload everything entered is there");
  await page.waitForSelector("canvas[data-frame]");
  await shot("clip");

  // ---- two clips in step ----
  await page.waitForFunction(() => document.querySelector(".axis")?.getAttribute("aria-valuemax") > 70);
  const other = await page.$eval(".transport select:last-of-type", () => [...document.querySelectorAll(".transport option")].find(one => one.value.startsWith("clip:"))?.value);
  await page.selectOption(".transport .choice-line:has(option[value^='clip:']) select", other);
  await page.waitForSelector('[data-picture="second"] canvas[data-frame]');
  await page.waitForTimeout(400);
  await page.keyboard.press("Home");
  for (let i = 0; i < 5; i++) await page.keyboard.press("ArrowRight");
  await page.waitForTimeout(100);
  check(await page.$eval('[data-picture="second"] canvas', one => Number(one.dataset.frame)) === 5, "a second clip goes in step");
  await page.selectOption(".transport .choice-line:has(option[value^='clip:']) select", "");

  // ---- two tabs that do not know of each other ----
  const second = attend(await context.newPage());
  await second.route(/after=/, () => {}); // it hears of no change
  await second.goto(page.url());
  await second.waitForSelector('[data-row="white_lung"]');
  const clash = async (on, key) => { await on.click('[data-row="white_lung"] .face'); await on.keyboard.press(key); };
  await second.waitForTimeout(200);
  const reach = async on => on.evaluate(() => document.querySelector(".kept")?.textContent);
  void reach;
  await clash(page, "y");
  await settled();
  await clash(second, "x");
  await page.waitForSelector('[data-row="white_lung"] .conflict');
  check((await page.$$('[data-row="white_lung"] .conflict .choice')).length === 2, "two tabs that did not know of each other: both answers stand, and the page asks");
  await page.click('[data-row="white_lung"] .conflict .choice');
  await page.waitForFunction(() => !document.querySelector('[data-row="white_lung"] .conflict'));
  await settled();
  check(true, "choosing one settles it");
  await second.close();

  // ---- the server goes away and comes back ----
  watch.expectLoss = true;
  await stop();
  const lines = journal().length;
  await page.click('[data-row="b_line_coverage"] .face');
  await page.keyboard.press("x");
  await page.waitForSelector(".kept.lost");
  check((await page.textContent(".kept")).includes("kept in this browser") && (await own("b_line_coverage")).includes("could not tell"), "without the server entries wait in the browser, and the page says so");
  const hash = new URL(page.url()).hash;
  await page.goto("about:blank", { waitUntil: "commit" }).catch(() => {});
  await page.close({ runBeforeUnload: false });
  address = await start();
  const fresh = attend(await context.newPage());
  fresh.setDefaultTimeout(40000);
  await fresh.goto(address + hash);
  await fresh.waitForSelector('[data-row="b_line_coverage"]');
  await fresh.waitForFunction(() => document.querySelector(".kept")?.textContent.endsWith("kept"));
  check(journal().length === lines + 1, "after a restart, in a new tab, what waited is on the disk, once");
  watch.expectLoss = false;

  // ---- the report ----
  await fresh.keyboard.press("R");
  await fresh.waitForSelector(".conclusion textarea");
  await fresh.fill(".conclusion textarea", "Invented conclusion: fewer lines than two days ago.");
  await fresh.waitForFunction(() => document.querySelector(".kept")?.textContent.endsWith("kept"));
  await fresh.fill(".signature input", "Reader A (invented)");
  await fresh.click(".signature button");
  await fresh.waitForSelector(".signed b");
  check((await fresh.textContent(".signed")).includes("Invented conclusion"), "signed, with the conclusion as it was signed");
  await fresh.waitForFunction(() => { const image = document.querySelector(".pages img"); return image?.complete && image.naturalWidth > 1000; });
  const greys = await fresh.$eval(".pages img", image => { const c = document.createElement("canvas"); c.width = 400; c.height = 283; const x = c.getContext("2d"); x.drawImage(image, 0, 0, 400, 283); const d = x.getImageData(0, 0, 400, 283).data; let n = 0; for (let i = 0; i < d.length; i += 4) if (d[i] > 40 && d[i] < 200 && Math.abs(d[i] - d[i + 2]) < 6) n++; return n; });
  check(greys > 2000, "the report's pages show their pictures");
  await audit("report", fresh);
  const pdf = join(work, "report.pdf");
  const exam = hash.split("/")[2];
  writeFileSync(pdf, Buffer.from(await (await fetch(`${address}api/exams/${exam}/signed.pdf`)).arrayBuffer()));
  const text = spawnSync("pdftotext", ["-layout", pdf, "-"], { encoding: "utf8" });
  if (text.status === 0) check(/Invented conclusion/.test(text.stdout) && /Reader A/.test(text.stdout) && /Both reads/.test(text.stdout) && /none seen/.test(text.stdout), "the PDF prints conclusion, signature and both reads");
  else console.log("      pdftotext is not here: the PDF's words were not looked at");

  const sums = () => spawnSync(program, ["store", "check", "--store", join(work, "store")], { encoding: "utf8" });
  check(sums().status === 0, `the store is whole ${sums().stdout.slice(-200)}`);
  const shown = spawnSync(program, ["store", "list", "--store", join(work, "store")], { encoding: "utf8" });
  check(shown.status === 0 && /2031-03-06/.test(shown.stdout), "and lists the examination");
  await fresh.goto(address + hash);
  await fresh.waitForSelector('[data-row="b_lines"]');
  await fresh.click('[data-row="b_lines"] .face');
  await fresh.keyboard.press("y");
  await fresh.waitForFunction(() => document.querySelector(".kept")?.textContent.endsWith("kept"));
  await fresh.keyboard.press("R");
  await fresh.waitForSelector(".signed");
  check((await fresh.textContent(".signature")).includes("1 entry came after it"), "what is entered after the signature is kept, and told as no part of it");
  check(Buffer.compare(readFileSync(pdf), Buffer.from(await (await fetch(`${address}api/exams/${exam}/signed.pdf`)).arrayBuffer())) === 0, "the signed report is the same, byte for byte");
  await fresh.fill(".signature textarea", "Invented addendum: one number was read again.");
  if (!(await fresh.inputValue(".signature input"))) await fresh.fill(".signature input", "Reader A (invented)");
  await fresh.click(".signature button");
  await fresh.waitForFunction(() => document.querySelectorAll(".signed li").length === 2);
  writeFileSync(pdf, Buffer.from(await (await fetch(`${address}api/exams/${exam}/signed.pdf`)).arrayBuffer()));
  const added = spawnSync("pdftotext", ["-layout", pdf, "-"], { encoding: "utf8" });
  if (added.status === 0) check(/Invented conclusion/.test(added.stdout) && /Invented addendum/.test(added.stdout), "the addendum is signed beside the conclusion");
  check(sums().status === 0, "the store is whole after the addendum");
  await audit("report, signed", fresh);
  await fresh.goto(address + hash);
  await fresh.waitForSelector('[data-row="b_lines"]');

  // ---- clips are brought in ----
  cpSync(join(work, "demo", "2031-03-04", "l-upper-lateral.mp4"), join(work, "loose clip.mp4"));
  await fresh.keyboard.press("C");
  await fresh.waitForSelector(".tile");
  await fresh.setInputFiles(".bring input", join(work, "loose clip.mp4"));
  await fresh.waitForSelector(".loose-clip img");
  check(existsSync(join(work, "demo", "2031-03-06", "loose clip.mp4")), "a clip brought in lies beside the others");
  await fresh.selectOption(".loose-clip select", "L-basal-lateral");
  await fresh.waitForSelector('[data-zone="L-basal-lateral"] .picture img');
  check(!(await fresh.$(".loose-clip")), "its zone is chosen and it goes there");

  // ---- what arrived by DICOM, and a DICOM file dropped ----
  const scenario = join(web, "..", "scenarios", "a-lines.json"), small = ["--set", "controls.duration_s=0.5", "--set", "controls.picture_height=200"];
  spawnSync(program, ["simulate", scenario, "--out", join(work, "sent.dcm"), ...small]);
  const receiver = spawn(program, ["receive", "--port", "0", "--title", "WARD", "--store", join(work, "store")]);
  const port = await new Promise(done => receiver.stdout.once("data", said => done(/port (\d+)/.exec(said)[1])));
  const stored = spawnSync("storescu", ["-xr", "-aec", "WARD", "127.0.0.1", port, join(work, "sent.dcm")]);
  receiver.kill();
  spawnSync(program, ["simulate", scenario, "--out", join(work, "dropped.dcm"), ...small, "--set", "seed=7"]);
  if (stored.status === 0) {
    await fresh.waitForSelector(".arrived button");
    await fresh.click(".arrived button");
    await fresh.waitForSelector(".loose-clip:has-text('.dcm') img");
    check(true, "a clip that a machine sent is copied from the store into the examination and read");
    await shots("arrived", fresh);
  } else check(stored.error?.code === "ENOENT", `storescu sends (or is not here) ${stored.stdout}${stored.stderr}`);
  await fresh.setInputFiles(".bring input", join(work, "dropped.dcm"));
  await fresh.waitForSelector(".loose-clip:has-text('dropped.dcm') img");
  check(true, "a DICOM file from the disk is brought in like any other");
  await audit("chest with arrivals", fresh);

  // ---- bench and plan ----
  await fresh.keyboard.press("B");
  await fresh.waitForSelector(".bench-picture canvas[data-latency]");
  await fresh.waitForTimeout(300);
  const answers = () => fresh.$eval(".bench-picture canvas", one => Number(one.dataset.answers));
  const count = await answers();
  await fresh.focus('[data-path="controls.depth_mm"]');
  await fresh.keyboard.press("ArrowRight");
  await fresh.keyboard.press("ArrowRight");
  await fresh.waitForFunction(n => Number(document.querySelector(".bench-picture canvas").dataset.answers) > n, count);
  await fresh.waitForSelector(".figures .moved");
  check((await fresh.textContent(".figures .moved")).includes("→"), "turning a control moves the picture, and what moved stands first");
  await audit("bench", fresh);
  await fresh.keyboard.press("P");
  await fresh.waitForSelector(".plan-picture .frame");
  await audit("plan", fresh);

  // ---- dark, large text, the other language ----
  await fresh.emulateMedia({ colorScheme: "dark" });
  for (const [name, to] of [["examinations", "#/"], ["chest", `#/exam/${exam}`], ["clip", hash], ["report", `#/exam/${exam}/report`], ["bench", "#/bench"], ["plan", "#/plan"]]) {
    await fresh.goto(address + to);
    await fresh.waitForSelector({ examinations: ".exams a", chest: ".tile .picture img", clip: "canvas[data-frame]", report: ".pages img", bench: ".knobs", plan: ".plan-picture svg" }[name]);
    await fresh.waitForTimeout(250);
    await audit(`${name}, dark`, fresh);
    check((await fresh.textContent(".foot strong")).length > 60, `the caution stands on ${name}`);
    await fresh.evaluate(() => { document.documentElement.style.fontSize = "200%"; });
    await fresh.waitForTimeout(150);
    const over = await fresh.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
    check(over <= 1, `text at 200 % fits on ${name} (${over} px over)`);
    await fresh.evaluate(() => { document.documentElement.style.fontSize = ""; });
  }
  await fresh.click(".top-right button:has-text('Deutsch')");
  check(await fresh.evaluate(() => document.documentElement.lang) === "de", "the second language is declared");
  await fresh.goto(address + hash);
  await fresh.waitForSelector(".complaints");
  const remarks = await fresh.$$eval(".complaints p", all => all.map(one => [...one.childNodes].filter(node => node.nodeName !== "SMALL").map(node => node.textContent).join("")).join(" "));
  check(!/\b(the|and|are|with)\b/.test(remarks), `what the audit says of a clip is German in the German page (${remarks.slice(0, 120)})`);
  check(/\d,\d/.test(await fresh.textContent(".numbers")) && !/\d\.\d+ (mm|s|cm)\b/.test(await fresh.$$eval(".row-value, .clip-head .quiet", all => all.map(one => one.textContent).join(" "))), "numbers have the decimal comma");
  await fresh.goto(`${address}#/exam/${exam}/report`);
  await fresh.waitForSelector('.pages img[src*="language=de"]');
  const inGerman = join(work, "report-de.pdf");
  writeFileSync(inGerman, Buffer.from(await (await fetch(address + (await fresh.getAttribute(".downloads a", "href")).split("/").slice(-4).join("/"))).arrayBuffer()));
  const printed = spawnSync("pdftotext", ["-layout", inGerman, "-"], { encoding: "utf8" });
  if (printed.status === 0) check(/ersetzt/.test(printed.stdout) && !/does not replace/.test(printed.stdout), "the report is printed in the page's language");

  // ---- what the store keeps, brought back into another folder ----
  watch.expectLoss = true; // the windows above go on asking a server that is gone
  await stop();
  mkdirSync(join(work, "elsewhere"));
  const elsewhere = await serve(join(work, "elsewhere"), ["--store", join(work, "store")]);
  const back = attend(await (await open()).newPage());
  await back.goto(elsewhere);
  await back.waitForSelector(".shelf button");
  check((await back.textContent(".shelf li")).includes("2031-03-06") && (await back.textContent(".shelf li")).includes("signed"), "what the store keeps is listed");
  await audit("examinations of the store", back);
  await shots("store", back);
  await back.click(".shelf li:has-text('2031-03-06') button");
  await back.waitForSelector(".tile .picture img");
  await back.keyboard.press("R");
  await back.waitForSelector(".signed");
  check((await back.textContent(".signed")).includes("Invented conclusion") && (await back.$$(".signed li")).length === 2, "the copy shows its signature and the addendum");
  check(!(await back.textContent(".signature")).includes("came after"), "nothing of it came after the signature");
  const says = readFileSync(join(work, "elsewhere", "2031-03-06", "report", "says.jsonl"), "utf8");
  check(/"find"/.test(says) && /Invented conclusion/.test(says), "what the clinician said comes back with it");
  await back.goto(elsewhere);
  await back.waitForSelector(".shelf li:has-text('2031-03-06') button:has-text('open it')");
  check(true, "and it is not brought twice");
});
