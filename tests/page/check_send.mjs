// Sending from the page: findings, report and clips to DCMTK's storescp, which is down at first; the state is shown, survives a reload and
// a restart of the server; what came is read with pydicom; a learner is not offered it and may not do it.
// Usage: node check_send.mjs STRANDLINE WEB_FOLDER PYTHON [FOLDER_FOR_SCREENSHOTS]
import { spawn, spawnSync } from "node:child_process";
import { mkdirSync, readFileSync, readdirSync, writeFileSync } from "node:fs";
import { createServer } from "node:net";
import { join } from "node:path";
import { attend, audit, auditDark, check, open, program, python, run, shots, start, stop, watch, web, work } from "./harness.mjs";

if (spawnSync("storescp", ["--version"]).status !== 0) { console.log("skipped: storescp (package dcmtk) is not there"); process.exit(77); }
const freePort = () => new Promise(done => { const one = createServer().listen(0, "127.0.0.1", () => { const p = one.address().port; one.close(() => done(p)); }); });

await run(async () => {
  const folder = join(work, "place"), exam = join(folder, "2031-05-02"), store = join(work, "store"), box = join(work, "box");
  mkdirSync(exam, { recursive: true });
  mkdirSync(box);
  for (const [name, zone] of [["a-lines", "r-upper-anterior"], ["b-three", "l-lower-anterior"]]) {
    const made = spawnSync(program, ["simulate", join(web, "..", "scenarios", `${name}.json`), "--out", join(exam, `${zone}.mp4`), "--set", "controls.duration_s=0.6", "--set", "controls.picture_height=200"]);
    if (made.status !== 0) throw new Error(`no clip: ${made.stderr}`);
  }
  writeFileSync(join(exam, "exam-info.json"), JSON.stringify({ title: "Invented", date: "2031-05-02", person: "Pier 3 (invented)", invented: true }));
  const archivePort = await freePort();
  const send = (...words) => spawnSync(program, ["send", ...words, "--store", store], { encoding: "utf8" });
  let archive = null;
  const archiveUp = () => { archive = spawn("storescp", ["-aet", "ARCHIVE", "-od", box, String(archivePort)], { stdio: "ignore" }); };

  // ---- no destination yet, then one that is down ----
  let address = await start(folder, ["--store", store]);
  const context = await open(), page = attend(await context.newPage());
  await page.goto(address);
  await page.click("main .exams a, .tile a, main a[href*='/exam/']").catch(() => {});
  await page.waitForFunction(() => /#\/exam\//.test(location.hash));
  const hash = new URL(page.url()).hash.replace(/^(#\/exam\/[^/]+).*/, "$1/report");
  await page.goto(address + hash);
  await page.waitForSelector(".sending code");
  check((await page.textContent(".sending")).includes("send --add"), "without a destination the page says how one is added");
  send("--add", "archive", `ARCHIVE@127.0.0.1:${archivePort}`, "--title", "WARD");
  await page.reload();
  await page.waitForSelector(".sending select");
  check((await page.textContent(".sending")).includes("archive (not encrypted)"), "a destination without encryption is told so");
  await page.waitForFunction(() => !document.querySelector(".sending button[type=submit]").disabled);
  await audit("sending", page);
  await page.focus(".sending button[type=submit]");
  await page.keyboard.press("Enter");
  await page.waitForSelector(".send-waits .asks");
  check((await page.$$(".send-waits")).length === 2 && (await page.textContent(".queue")).includes("is not reached"), "findings and report wait, and the page says why");
  await auditDark("sending", page);
  await shots("sending-waits", page);

  // ---- a reload, a restart, German ----
  await page.reload();
  await page.waitForSelector(".send-waits");
  await page.goto("about:blank");
  await stop();
  address = await start(folder, ["--store", store]);
  await page.goto(address + hash);
  await page.waitForSelector(".send-waits");
  check((await page.$$(".send-waits")).length === 2, "after a reload and a restart they wait still");
  await page.click("button:has-text('Deutsch')");
  check((await page.textContent(".sending")).includes("ist nicht erreichbar"), "the reasons have their German");
  await page.click("button:has-text('English')");

  // ---- the archive is there ----
  archiveUp();
  await page.waitForTimeout(400);
  await page.click(".send-waits button:has-text('try now')");
  await page.waitForFunction(() => document.querySelectorAll(".send-sent").length === 2);
  check(readdirSync(box).length === 2, "once the archive answers, what waited for it is delivered");
  await page.click(".sending button[type=submit]");
  await page.waitForSelector(".sentences");
  check((await page.textContent(".sentences")).includes("delivered there before"), `the same findings and report are the same objects ${await page.textContent(".sentences")}`);
  await page.click(".sentences button");
  await page.uncheck(".sending input[name=findings]");
  await page.uncheck(".sending input[name=report]");
  await page.check(".sending input[name=clips]");
  await page.click(".sending button[type=submit]");
  await page.waitForFunction(() => document.querySelectorAll(".send-sent").length === 4);
  await page.click(".sending button[type=submit]");
  await page.waitForSelector(".sentences");
  check((await page.textContent(".sentences")).includes("delivered there before") && readdirSync(box).length === 4, "what was delivered is not sent again");
  await page.click(".sentences button");
  await shots("sending-sent", page);
  const read = spawnSync(python, ["-c", `
import pathlib, sys, pydicom
found = [pydicom.dcmread(path) for path in sorted(pathlib.Path(sys.argv[1]).iterdir())]
print(sorted(one.Modality for one in found), len({one.StudyInstanceUID for one in found}), {str(one.PatientName) for one in found})`, box], { encoding: "utf8" });
  if (/ModuleNotFound/.test(read.stderr)) console.log("what came is not read: pydicom is not there");
  else check(read.stdout.trim() === "['DOC', 'SR', 'US', 'US'] 1 {'Invented^Example'}", `what came: a report, findings and clips of one study ${read.stdout}${read.stderr.slice(-300)}`);

  // ---- refused; taken out ----
  archive.kill("SIGKILL");
  const refusing = spawn("storescp", ["--refuse", "-od", box, String(archivePort)], { stdio: "ignore" });
  await page.waitForTimeout(400);
  await page.fill("textarea", "Invented: nothing of note.");
  await page.locator("textarea").blur();
  await page.waitForTimeout(400);
  await page.uncheck(".sending input[name=clips]");
  await page.check(".sending input[name=report]");
  await page.click(".sending button[type=submit]");
  await page.waitForSelector(".send-refused");
  check((await page.textContent(".send-refused")).includes("turned us away"), "a report with a new conclusion is another object; a refusal is shown with its reason");
  await page.click(".send-refused button:has-text('do not send')");
  await page.waitForFunction(() => !document.querySelector(".send-refused"));
  check(!send("--list").stdout.includes("refused"), "and can be taken out");
  refusing.kill("SIGKILL");
  await page.close();
  await stop();

  // ---- beyond this machine: a learner ----
  const users = (words, password) => spawnSync(program, ["users", ...words, "--access", join(work, "access")], { input: password + "\n" });
  users(["add", "warden", "--role", "administrator"], "seven quiet herons");
  users(["add", "leo", "--role", "learner"], "nine loud bitterns");
  watch.expectLoss = true;
  address = await start(folder, ["--store", store, "--on", "127.0.0.1", "--name", "localhost", "--access", join(work, "access")]);
  for (const [name, password, may] of [["leo", "nine loud bitterns", false], ["warden", "seven quiet herons", true]]) {
    const one = attend(await (await open({ width: 1024, height: 768 }, { ignoreHTTPSErrors: true })).newPage());
    await one.goto(address);
    await one.fill('input[name="name"]', name);
    await one.fill('input[name="password"]', password);
    await one.keyboard.press("Enter");
    await one.waitForSelector("main .exams a, .tile");
    await one.goto(address + hash);
    await one.waitForSelector(".signature");
    await one.waitForTimeout(600);
    check(!!(await one.$(".sending")) === may, `${name} is ${may ? "" : "not "}offered to send`);
    const status = await one.evaluate(async path => (await fetch(path, { method: "POST", headers: { "X-Strandline": "1", "Content-Type": "application/json" }, body: JSON.stringify({ to: "archive", what: [] }) })).status,
      `${address}api/exams/${hash.split("/")[2]}/sending`);
    check(may ? status === 400 : status === 403, `and the server ${may ? "takes" : "refuses"} it (${status})`);
    if (may) {
      await one.waitForFunction(() => !document.querySelector(".sending button[type=submit]").disabled);
      await one.click(".sending button[type=submit]");
      const logged = () => readFileSync(join(work, "access", "access.jsonl"), "utf8").includes("queued for archive: findings report");
      for (let i = 0; i < 150 && !logged(); i++) await one.waitForTimeout(100);
      check(logged(), "the access log says what left, for where and by whom");
    }
    await one.close();
  }
});
