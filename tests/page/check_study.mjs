// Second readers and learning in the browser: two blind lists read by keyboard, nothing of the program's or the other's read
// in any answer of the server before they are handed in, what differs settled without names, agreement with its plots held
// against figures worked out here by hand; a learner's session with feedback from the evidence, and the curve.
// Usage: node check_study.mjs STRANDLINE WEB_FOLDER [FOLDER_FOR_SCREENSHOTS]
import { spawnSync } from "node:child_process";
import { existsSync, mkdirSync, readFileSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { attend, audit, auditDark, check, open, program, run, shots, start, stop, watch, web, work } from "./harness.mjs";

await run(async () => {
  const folder = join(work, "place"), exam = join(folder, "2031-05-02");
  mkdirSync(exam, { recursive: true });
  const scenarios = join(web, "..", "scenarios"), zones = ["R-upper-anterior", "R-lower-anterior", "L-upper-anterior", "L-lower-anterior"];
  const names = ["a-lines", "b-three", "white-lung", "b-one"].map((name, i) => {
    const made = spawnSync(program, ["simulate", join(scenarios, `${name}.json`), "--out", join(exam, `${zones[i].toLowerCase()}.mp4`), "--set", "controls.duration_s=1", "--set", "controls.picture_height=240"]);
    if (made.status !== 0) throw new Error(`no clip: ${made.stderr}`);
    return `${zones[i].toLowerCase()}.mp4`;
  });
  writeFileSync(join(exam, "exam-info.json"), JSON.stringify({ title: "Invented", date: "2031-05-02", person: "Pier 3 (invented)", invented: true }));
  let address = await start(folder);
  const context = await open(), page = attend(await context.newPage());
  const seen = []; // every answer while someone reads blind
  let blind = false;
  page.on("response", async response => { if (blind && /json/.test(response.headers()["content-type"] ?? "")) seen.push(response.url() + " " + await response.text().catch(() => "")); });

  // ---- two blind lists ----
  const study = join(folder, "report", "readers");
  const begin = async reader => {
    await page.goto(`${address}#/readers`);
    await page.click("button:has-text('Begin a blind list')");
    await page.fill("input[name=reader]", reader);
    await page.check("input[value=pleura_depth]");
    await audit("a new blind list", page);
    blind = true;
    await page.click("button[type=submit]");
    await page.waitForSelector("[data-asked]");
    await page.waitForSelector("canvas[data-frame]");
  };
  await begin("A");
  check((await page.$$("[data-asked]")).length === 4 && (await page.$$(".code")).length === 4, "the list asks what was chosen, of every clip");
  const shown = await page.textContent("main");
  check(!/anterior|2031|Pier/.test(shown), "no zone, date or person is shown to a blind reader");
  const order = {}, keyOf = reader => Object.fromEntries(readFileSync(join(study, "keys", `${reader}-1.csv`), "utf8").trim().split("\n").slice(1).map(line => line.split(",")));
  // What each reader says, by clip: chosen so that kappa is known. y/n of A- and B-lines, score, depth of the pleura as a share.
  const says = { A: { 0: ["y", "n", "0", "0.20"], 1: ["n", "y", "2", "0.22"], 2: ["n", "y", "3", "0.24"], 3: ["y", "n", "1", "0.20"] },
    B: { 0: ["y", "n", "0", "0.21"], 1: ["y", "y", "2", "0.20"], 2: ["n", "y", "3", "0.26"], 3: ["y", "y", "1", "0.20"] } };
  const clipNumber = name => names.findIndex(one => name.endsWith(one));
  /** Reads a whole list: answers by key, a depth by hand, on to the next clip by key. */
  const read = async (on, reader) => {
    const key = keyOf(reader);
    order[reader] = Object.values(key).map(clipNumber).join();
    for (let i = 0; i < 4; i++) {
      const now = await on.textContent("h1"), [a, b, score, depth] = says[reader][clipNumber(key[now])];
      for (const [finding, press] of [["a_lines", a], ["b_lines", b], ["score", score]]) {
        await on.focus(`[data-asked="${finding}"] button`);
        await on.keyboard.press(press);
        await on.waitForTimeout(20);
      }
      await on.fill('[data-asked="pleura_depth"] input', depth);
      await on.keyboard.press("Enter");
      await on.evaluate(() => document.activeElement?.blur());
      await on.keyboard.press("PageDown");
      await on.waitForFunction(before => document.querySelector("h1").textContent !== before, now);
    }
  };
  await shots("blind", page);
  await audit("a blind list", page);
  await auditDark("a blind list", page);
  await read(page, "A");
  check((await page.$$(".code-done")).length === 4, "every clip is answered");
  const kept = readFileSync(join(study, "drafts", "A-1.jsonl"), "utf8").trim().split("\n").length;
  check(kept >= 16, `each answer is on the disk at once (${kept} lines)`);
  await page.reload();
  await page.waitForSelector(".code-done");
  check((await page.$$(".code-done")).length === 4, "after a reload they are all there");
  // the server goes away: an answer waits in the browser and is sent once it is back
  watch.expectLoss = true;
  await stop();
  await page.focus('[data-asked="a_lines"] button');
  await page.keyboard.press("x");
  await page.waitForSelector(".kept.lost");
  const hash = new URL(page.url()).hash;
  await page.close();
  address = await start(folder);
  const second = attend(await context.newPage());
  await second.goto(address + hash);
  await second.waitForSelector(".code-done");
  await second.waitForFunction(() => /kept$/.test(document.querySelector(".kept")?.textContent ?? ""));
  const lines = readFileSync(join(study, "drafts", "A-1.jsonl"), "utf8").trim().split("\n").map(JSON.parse);
  check(lines.length === kept + 1 && lines.at(-1).word === "uncertain", "an answer given while the server was away is sent once it is back, by a new tab, too");
  watch.expectLoss = false;
  // the same answer as before stands again
  const code = lines.at(-1).code, mine = says.A[clipNumber(keyOf("A")[code])][0];
  await second.click(`.code[aria-label^="clip ${Number(code.slice(-3))}"]`);
  await second.focus('[data-asked="a_lines"] button');
  await second.keyboard.press(mine);
  await second.waitForTimeout(200);
  check(!existsSync(join(study, "reads", "A-1.json")), "nothing is a read before it is handed in");
  await second.click("button:has-text('Hand the list in')");
  await second.waitForSelector(".agreement");
  check(existsSync(join(study, "reads", "A-1.json")), "handed in, it is among the reads");
  await second.close();

  const third = attend(await context.newPage());
  third.on("response", async response => { if (blind && /json/.test(response.headers()["content-type"] ?? "")) seen.push(response.url() + " " + await response.text().catch(() => "")); });
  await third.goto(`${address}#/readers`);
  await third.click("button:has-text('Begin a blind list')");
  await third.fill("input[name=reader]", "B");
  await third.check("input[value=pleura_depth]");
  await third.click("button[type=submit]");
  await third.waitForSelector("[data-asked]");
  await read(third, "B");
  check(order.A !== order.B, "each reader has an order of their own");
  const told = seen.filter(one => /"interval"|"evidence"|"known"|anterior|"says"/.test(one) && !/api\/(exams|tables)/.test(one));
  check(seen.length > 10 && told.length === 0, `while lists are read, no answer of the server holds a finding, a zone or another's read (${seen.length} looked at) ${told[0]?.slice(0, 200) ?? ""}`);
  await third.goto(`${address}#/readers`);
  await third.waitForSelector("h2:has-text('Agreement')");
  check((await third.textContent("main")).includes("is still reading") && !(await third.$(".chances")), "while one still reads, what the other said stays hidden");
  await third.click(".lines a");
  await third.click("button:has-text('Hand the list in')");
  blind = false;

  // ---- agreement ----
  await third.waitForSelector("[data-agreement=a_lines] .chances");
  // A-lines: A says y n n y, B says y y n y: three of four the same, chance (2/4)(3/4) + (2/4)(1/4) = 1/2, kappa 1/2.
  check(/0\.50/.test(await third.textContent("[data-agreement=a_lines] .chances b")), "kappa of the A-lines is what it is by hand: (3/4 - 1/2) / (1/2)");
  check(/1\.00|same/.test(await third.textContent("[data-agreement=score] .chances b")), "scores agree on every clip");
  const cells = await third.$$eval("[data-agreement=a_lines] .cross td span", all => all.map(one => Number(one.textContent)));
  check(cells.join() === "1,1,0,2", `the cross table counts the four clips (${cells})`);
  check((await third.$$("[data-agreement=pleura_depth] .apart .point")).length === 4, "amounts are drawn as difference against mean");
  check(/on average -0\.00[23]/.test(await third.textContent("[data-agreement=pleura_depth] .apart figcaption")), "with the bias: (0.20 + 0.22 + 0.24 + 0.20 - 0.21 - 0.20 - 0.26 - 0.20) / 4 = -0.0025");
  await audit("agreement", third);
  await auditDark("agreement", third);
  await shots("agreement", third);

  // ---- settling ----
  await third.click("a:has-text('What differs')");
  await third.waitForSelector(".said li");
  const words = await third.textContent(".questions");
  check(words.includes("one reader") && !/\bReader A\b|program/.test(await third.textContent(".said")), "what was said is shown without who said it");
  await third.waitForSelector("canvas[data-frame]");
  await audit("a difference", third);
  await auditDark("a difference", third);
  await third.focus("[data-asked] button");
  await third.keyboard.press("y");
  await third.fill(".questions textarea", "Repeats at equal distances.");
  await third.fill(".questions label:has-text('Decided by') input", "chair");
  await third.click("button:has-text('Settle')");
  await third.waitForFunction(() => document.querySelectorAll(".code-done").length === 1);
  const settled = JSON.parse(readFileSync(join(study, "settled.jsonl"), "utf8").trim());
  check(settled.why.startsWith("Repeats") && settled.decision.author === "chair", "the decision is kept beside the reads");
  await shots("difference", third);

  // ---- learning ----
  await third.keyboard.press("Escape");
  await third.goto(`${address}#/learn`);
  await third.fill(".facts input", "L1");
  await third.click("button[type=submit]");
  await third.waitForSelector("select[name=pool]");
  check((await third.$$("option[value=agreed]")).length === 1, "clips on which readers agreed can be learned from");
  await third.fill("input[name=clips]", "2");
  await audit("a new session", third);
  await third.click("button[type=submit]");
  await third.waitForSelector("[data-asked=b_lines]");
  await third.waitForSelector("canvas[data-frame]");
  check(!(await third.$(".feedback")), "nothing is told before the answer");
  for (let i = 0; i < 2; i++) {
    const questions = await third.$$eval("[data-asked]", all => all.map(one => one.dataset.asked));
    for (const finding of questions) {
      await third.focus(`[data-asked="${finding}"] button`);
      await third.keyboard.press(finding === "score" ? "1" : "y");
      await third.waitForTimeout(20);
    }
    await third.waitForSelector("button:has-text('See what is true')");
    await third.keyboard.press("Tab");
    await third.click("button:has-text('See what is true')");
    await third.waitForSelector(".feedback");
    const answered = await third.$$eval(".feedback", all => all.length);
    check(answered === questions.length, "each answer is marked at once");
    if (i === 0) {
      const looks = await third.$$(".feedback button");
      if (looks.length) { await looks[0].click(); await third.waitForTimeout(150); check(/look at frame/.test(await third.textContent(".feedback button")), "and the place to look at is named"); }
      await third.waitForFunction(() => document.querySelector('[data-picture="straight"] canvas[data-frame]'));
      const drawn = await third.$eval('[data-picture="straight"] canvas.over', c => c.getContext("2d").getImageData(0, 0, c.width, c.height).data.some((v, k) => k % 4 === 3 && v > 0));
      check(drawn, "and drawn in the picture");
      await shots("lesson", third);
      await audit("a session", third);
      await auditDark("a session", third);
    }
    await third.click(".questions > p .act");
  }
  await third.waitForSelector("[data-curve=b_lines] .curve");
  const marks = await third.$$eval("[data-curve=score] .hit, [data-curve=score] .miss", all => all.length);
  check(marks === 2, "the curve holds both clips");
  const progress = readFileSync(join(folder, "report", "learners", "L1", "progress.jsonl"), "utf8").trim().split("\n").map(JSON.parse);
  const asTold = await third.textContent("[data-curve=b_lines] p");
  check(asTold.startsWith(`${progress.filter(one => one.finding === "b_lines" && one.right).length} of 2`), "and counts what was right as the learner's file has it");
  await audit("a learner", third);
  await auditDark("a learner", third);
  await shots("learner", third);
  const shows = spawnSync(program, ["learn", "show", join(folder, "report", "learners", "L1")], { encoding: "utf8" });
  check(shows.status === 0 && /Score/.test(shows.stdout), "strandline learn goes on with the same file");
  const compared = spawnSync(program, ["readers", "compare", study, "--out", join(work, "compared")], { encoding: "utf8" });
  check(compared.status === 0 && /0\.50/.test(compared.stdout), "strandline readers compares the same study");

  // ---- tasks on the bench ----
  await third.goto(`${address}#/bench`);
  await third.waitForSelector("[data-task=glare]");
  const list = await third.evaluate(async () => (await (await fetch("api/bench")).json()).tasks);
  const judge = (task, set) => third.evaluate(async ([task, set]) => (await fetch("api/bench", { method: "POST", headers: { "X-Strandline": "1", "Content-Type": "application/json" }, body: JSON.stringify({ task, set }) })).json(), [task, set]);
  for (const key of ["dark", "smeared"]) { // the audit complains of each start and is content with the chest's own settings
    const task = list.find(one => one.key === key), start = await judge(key, task.set), own = await judge(key, {});
    check(start.aim_seen && !start.solved && own.solved && own.gone.length > 0, `task ${key}: the start does not serve, the chest's own settings do`);
  }
  await third.click("[data-task=glare]");
  await third.waitForFunction(() => document.querySelector('[data-path="controls.gain_db"]')?.value === "22");
  check(!(await third.$(".turned")), "nothing shows which control was set wrong");
  await third.click("button:has-text('Judge it')");
  await third.waitForSelector(".verdict [data-rule=gain-high]");
  check(/Nothing was changed/.test(await third.textContent(".verdict")), "left as it is, it does not serve, and the reason is said");
  await third.focus('[data-path="controls.gain_db"]');
  for (let i = 0; i < 22; i++) await third.keyboard.press("ArrowLeft");
  await third.waitForFunction(() => document.querySelector('[data-path="controls.gain_db"]').value === "0");
  await third.click("button:has-text('Judge it')");
  await third.waitForSelector(".verdict b:has-text('It serves now')");
  check(/gone/.test(await third.textContent(".verdict")) && /1 control changed/.test(await third.textContent(".verdict")), "with the gain turned down it serves");
  check((await third.$$(".code-done[data-task=glare]")).length === 1, "and the task counts as done");
  await audit("a task", third);
  await auditDark("a task", third);
  await shots("task", third);
});
