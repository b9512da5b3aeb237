// The diaphragm's borders in the browser: moved by mouse and by keys alone, turning points, kept and undone, the numbers and the report
// beside the program's, where nothing was found, without a scale, in both languages. Every state is held to axe-core's rules.
// Usage: node check_borders.mjs STRANDLINE WEB_FOLDER SCENARIOS [FOLDER_FOR_SCREENSHOTS]
import { spawnSync } from "node:child_process";
import { mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { attend, audit, auditDark, check, open, program, run, scenarios, shot, start as serve, watch, work } from "./harness.mjs";

await run(async () => {
  const place = join(work, "place"), day = join(place, "2031-05-06");
  mkdirSync(day, { recursive: true });
  for (const [scenario, name, seconds] of [["diaphragm-dome", "dome.dcm", 9], ["diaphragm-thickening", "wall.dcm", 9], ["diaphragm-dome", "short.mp4", 3]])
    if (spawnSync(program, ["simulate", join(scenarios, `${scenario}.json`), "--out", join(day, name), "--set", `controls.duration_s=${seconds}`]).status !== 0) throw new Error(`${name} could not be made`);
  const address = await serve(place), context = await open(), page = attend(await context.newPage());
  await page.goto(address);
  await page.waitForFunction(async () => { const all = await (await fetch("api/exams")).json(); return (await (await fetch(`api/exams/${all.exams[0].id}`)).json()).state === "ready"; }, null, { timeout: 120000, polling: 500 });
  const [exam, clips] = await page.evaluate(async () => { const id = (await (await fetch("api/exams")).json()).exams[0].id; return [id, Object.fromEntries((await (await fetch(`api/exams/${id}`)).json()).clips.map(one => [one.clip, one.id]))]; });
  const go = async name => { await page.evaluate(hash => { location.hash = hash; }, `/exam/${exam}/${clips[name]}`); await page.waitForSelector(`.clip-head:has-text("${name}")`); };
  const asked = [];
  page.on("request", request => { if (/\/borders\?/.test(request.url())) asked.push(new URL(request.url())); });
  const hand = () => JSON.parse(asked.at(-1).searchParams.get("hand") ?? "null");
  const settled = async () => { // what is shown is of the borders as they are now, or they are refused
    await page.waitForTimeout(50);
    await page.waitForFunction(() => document.querySelector(".borders-sheet .asks, .borders-sheet[data-current=yes]"));
  };
  const row = name => page.$$eval(".borders-told tr", (all, name) => { const one = all.find(tr => tr.querySelector("th")?.textContent === name); return one ? [...one.querySelectorAll("td")].map(td => td.textContent) : null; }, name);
  const number = text => parseFloat(text.replace(",", "."));
  const says = () => page.evaluate(async exam => (await (await fetch(`api/exams/${exam}`)).json()).says.entries, exam);

  // ---- the dome: by mouse ----
  await go("dome.dcm");
  await page.waitForSelector(".borders[open] .border-auto");
  await settled();
  const [program0, hand0] = await row("Excursion of the diaphragm");
  check(Math.abs(number(program0) - 18) < 1.5 && hand0 === "", `the program's excursion stands, none by hand: ${program0}`);
  const breaths = await page.$$(".border-breath");
  check(breaths.length >= 2, `every breath is listed (${breaths.length})`);
  await page.click(".border-breath:nth-child(3) td:nth-child(2) button"); // the end of inspiration of the first
  const frame = () => page.$eval('[data-picture="straight"] canvas', canvas => Number(canvas.dataset.frame));
  const inspired = await frame();
  const path = await page.evaluate(async ask => (await (await fetch(ask)).json()).automatic.path, `api/exams/${exam}/clips/${clips["dome.dcm"]}/borders?which=dome`);
  const depth = path.depth[path.frames.indexOf(inspired)];
  const drag = async by => {
    const picture = await page.$('[data-picture="straight"] canvas.over');
    await picture.scrollIntoViewIfNeeded();
    const box = await picture.boundingBox();
    await page.mouse.move(box.x + box.width * path.beam, box.y + box.height * depth);
    await page.mouse.down();
    for (let i = 1; i <= 5; i++) { await page.mouse.move(box.x + box.width * path.beam, box.y + box.height * (depth + by * i / 5)); await page.waitForTimeout(40); }
    await page.mouse.up();
    await settled();
  };
  await drag(-0.04);
  check(hand().points.length === 1 && hand().points[0].frame === inspired && Math.abs(hand().points[0].depth - depth + 0.04) < 0.006, `the border follows the hand in the picture (${JSON.stringify(hand().points)})`);
  check(Math.abs(number((await row("Excursion of the diaphragm"))[1]) - number(program0)) < 0.15, "one point shifts the whole line: the excursion stays");
  await shot("borders-dome", page);
  await audit("borders of the dome", page);

  // ---- pinned at both sides by keys alone ----
  const low = async frames => { // goes to a frame, pins the line there
    await page.focus(".borders-here [data-line='0']");
    for (let i = 0; i < frames; i++) await page.keyboard.press("Shift+ArrowLeft");
  };
  await page.click("button:has-text('as they were')");
  await settled();
  check(hand() === null && !(await page.$(".border-point")), "as they were: no point is left");
  await low(5);
  await page.keyboard.press("Enter"); // fifty frames before
  await page.keyboard.press("ArrowRight");
  check(await frame() === inspired - 49, "left and right go through the frames there");
  for (let i = 0; i < 4; i++) await page.keyboard.press("Shift+ArrowRight");
  for (let i = 0; i < 9; i++) await page.keyboard.press("ArrowRight");
  check(await frame() === inspired, "back at the end of inspiration");
  for (let i = 0; i < 3; i++) await page.keyboard.press("Shift+ArrowUp");
  await page.keyboard.press("ArrowDown");
  for (let i = 0; i < 5; i++) await page.keyboard.press("Shift+ArrowRight");
  await page.keyboard.press("Enter");
  await settled();
  const points = hand().points;
  check(points.length === 3 && Math.abs(points[1].depth - depth + 0.028) < 1e-4 && Math.abs(points[0].depth - path.depth[path.frames.indexOf(points[0].frame)] ) < 0.03, `three points by keys: ${JSON.stringify(points)}`);
  check(/upper|dome, frame \d+: [\d.]+ mm/.test(await page.textContent(".borders-sheet [role=status].unseen")), "a screen reader is told where the border is");
  const label = await page.getAttribute(".border-point:nth-of-type(2)", "aria-label");
  check(/^dome, frame \d+, [\d.]+ s: [\d.]+ mm$/.test(label), `each point is labelled: ${label}`);
  await page.focus(".border-point:nth-of-type(2)");
  const was = hand().points[1];
  await page.keyboard.press("ArrowUp");
  await settled();
  check(Math.abs(hand().points[1].depth - was.depth + 0.002) < 1e-6 && hand().points[1].frame === was.frame, "arrows move the point in hand");
  await page.keyboard.press("ArrowRight");
  await settled();
  check(hand().points[1].frame > was.frame && await page.evaluate(() => document.activeElement?.classList.contains("border-point")), "and take it to another frame, still in hand");
  await page.keyboard.press("ArrowLeft");
  await page.keyboard.press("ArrowDown");
  await settled();
  const ways = await page.$$eval(".border-breath", all => all.map(tr => [...tr.querySelectorAll("td")].map(td => Number(/([\d.]+) mm/.exec(td.textContent)?.[1]))));
  check(ways[0][1] > ways[0][0] + 2.5, `the breath that was moved has a longer way by hand: ${JSON.stringify(ways)}`);
  check(await page.$eval(":focus", one => getComputedStyle(one).outlineStyle !== "none"), "the point in hand shows that it is");
  await auditDark("borders", page);

  // ---- a point in the plot by mouse ----
  await (await page.$(".border-point:nth-of-type(2)")).scrollIntoViewIfNeeded();
  const handle = await (await page.$(".border-point:nth-of-type(2)")).boundingBox(), stood = hand().points[1];
  await page.mouse.move(handle.x + handle.width / 2, handle.y + handle.height / 2);
  await page.mouse.down();
  await page.mouse.move(handle.x + handle.width / 2, handle.y + handle.height / 2 + 15, { steps: 4 });
  await page.mouse.up();
  await settled();
  check(hand().points[1].depth > stood.depth + 0.005 && hand().points.length === 3, "a point is dragged in the plot");

  // ---- kept, in the numbers and the report; undone ----
  check((await says()).length === 0, "nothing is kept before it is asked for");
  await page.click("button:has-text('keep these borders')");
  await page.waitForSelector("text=set by hand");
  await page.waitForFunction(async exam => (await (await fetch(`api/exams/${exam}`)).json()).says.entries.length === 1, exam);
  const entry = (await says())[0];
  check(entry.kind === "borders" && entry.code === "dome" && entry.say.points.length === 3 && /^\d{4}-/.test(entry.at), "one entry with when and what");
  const mine = number((await row("Excursion of the diaphragm"))[1]);
  const own = await page.$eval('[data-row="diaphragm_excursion_mm"] .row-own', one => one.textContent);
  check(Math.abs(number(own) - mine) < 0.11, `the numbers have it beside the program's: ${own}`);
  const text = await page.evaluate(async exam => { const bytes = new Uint8Array(await (await fetch(`api/exams/${exam}/report.pdf`)).arrayBuffer()); return bytes.length; }, exam);
  check(text > 10000, "the report is drawn with it");
  await page.evaluate(hash => { location.hash = hash; }, `/exam/${exam}/report`);
  await page.reload();
  const both = await page.waitForFunction(() => [...document.querySelectorAll(".report tr")].find(one => /Excursion of the diaphragm/.test(one.textContent))?.textContent);
  check((await both.jsonValue()).includes(`${mine.toFixed(1)} mm`), `both reads stand on the report's sheet: ${await both.jsonValue()}`);
  await go("dome.dcm");
  await page.waitForSelector(".border-hand");
  await settled();
  check(Math.abs(number((await row("Excursion of the diaphragm"))[1]) - mine) < 1e-9 && (await page.$$(".border-point")).length === 3, "after a reload they are as kept");
  await page.keyboard.press("Control+z");
  await page.waitForFunction(() => !document.querySelector(".border-point"));
  await settled();
  check((await row("Excursion of the diaphragm"))[1] === "" && !(await page.$eval('[data-row="diaphragm_excursion_mm"] .row-own', one => /\d/.test(one.textContent))), "undone they are the program's again");

  // ---- turning points ----
  await page.click("button:has-text('this frame is the end of inspiration')");
  await settled();
  check(hand().turns.some(one => one.end === "inspiration") && hand().turns.every((one, i, all) => !i || one.end !== all[i - 1].end), `turning points by turns: ${JSON.stringify(hand().turns)}`);
  check(!(await page.$(".borders-sheet .asks")), "none is refused");
  const marks = await page.$$(".border-turns button");
  await marks[0].click();
  await settled();
  check((await page.$$(".border-turns button")).length === marks.length - 1, "one is taken away by touching it");
  await page.click("button:has-text('as they were')");

  // ---- the muscle: lines that cross are refused with a sentence; the lower border alone ----
  await go("wall.dcm");
  await page.waitForSelector(".borders[open] .border-auto");
  await settled();
  const thick0 = await row("Thickness of the diaphragm, end of expiration");
  check(Math.abs(number(thick0[0]) - 2) < 0.3, `its thickness: ${thick0[0]}`);
  await page.focus(".borders-here [data-line='1']");
  for (let i = 0; i < 5; i++) await page.keyboard.press("ArrowDown"); // 0.01 of 40 mm
  await settled();
  check(Math.abs(number((await row("Thickness of the diaphragm, end of expiration"))[1]) - number(thick0[0]) - 0.4) < 0.05, "the lower border by keys: 0.4 mm thicker");
  const along = async () => { // where the plot has the line's ends and the point, against the time axis
    await page.waitForSelector(".borders-plot:not(.borders-plot-waits)");
    return await page.evaluate(() => { const d = document.querySelector(".border-auto").getAttribute("d").split(/[ML]/).filter(Boolean).map(parseFloat); return [d[0], d.at(-1), parseFloat(document.querySelector(".border-point").style.left)]; });
  };
  const [from, to, left] = await along(), due = 100 * hand().points[0].frame / 270;
  check(from < 5 && to > 990 && Math.abs(left - due) < 0.6, `the plot's axis is the clip's: ${from} to ${to}, the point at ${left} of ${due.toFixed(1)} %`);
  await shot("borders-muscle", page);
  await audit("borders of the muscle", page);
  await page.emulateMedia({ colorScheme: "dark" });
  await page.waitForTimeout(100);
  await shot("borders-dark", page);
  await page.emulateMedia({ colorScheme: "light" });
  watch.expectLoss = true; // the browser names a refused request an error
  for (let i = 0; i < 12; i++) await page.keyboard.press("Shift+ArrowUp");
  await page.waitForSelector(".borders-sheet .asks");
  check(/lower border lies above/.test(await page.textContent(".borders-sheet .asks")) && await page.$eval("button:has-text('keep these borders')", one => one.disabled), "lines that cross are not kept");

  // ---- none found, no scale, in German ----
  await page.evaluate(() => localStorage.setItem("strandline-language", "de"));
  await go("short.mp4");
  await page.reload();
  await page.waitForSelector(".borders");
  if (!(await page.$(".borders[open]"))) await page.click(".borders summary");
  await page.selectOption(".borders select", "muscle");
  await page.waitForSelector(".borders-sheet:has-text('Das Programm fand hier keine')");
  for (const line of [0, 1]) for (const to of [2, 30]) {
    await page.focus(".axis");
    await page.keyboard.press("Home");
    await page.focus(`.borders-here [data-line='${line}']`);
    for (let i = 0; i < to; i++) await page.keyboard.press("ArrowRight");
    await page.keyboard.press(line && to > 9 ? "Shift+ArrowDown" : "ArrowDown");
  }
  await settled();
  check(hand().points.length === 4, `borders where none were found: ${JSON.stringify(hand())}`);
  await page.waitForSelector(".border-hand[d^=M]", { state: "attached" });
  const german = await page.textContent(".borders-sheet");
  check(/obere Grenze/.test(german) && /der Maßstab|Maßstab des Bildes ist nicht bekannt/.test(german) && !/\d mm\b/.test(german.replace(/\d+ mm\/s/g, "")), `in German, and no millimetres without a scale: ${german.slice(0, 200)}`);
  await page.focus(".borders-here [data-line='1']");
  for (let i = 0; i < 12; i++) await page.keyboard.press("Shift+ArrowUp");
  await page.waitForSelector(".borders-sheet .asks");
  check(/Die untere Grenze liegt in Bild \d+ über der oberen/.test(await page.textContent(".borders-sheet .asks")), "the server's sentence, too");
  await audit("borders, German", page);
  await shot("borders-german", page);
  check(readFileSync(join(day, "report", "says.jsonl"), "utf8").trim().split("\n").length === 2, "the journal holds what was kept and undone, nothing else");
});
