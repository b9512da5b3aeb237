// An examination begun from what is planned: DCMTK's wlmscpfs as the worklist, invented people. The names are on the screen and in the
// examination's own folder and nowhere else; a worklist that is down is said so; a learner is not offered it and may not do it.
// Usage: node check_planned.mjs STRANDLINE WEB_FOLDER [FOLDER_FOR_SCREENSHOTS]
import { spawn, spawnSync } from "node:child_process";
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from "node:fs";
import { createConnection, createServer } from "node:net";
import { join } from "node:path";
import { attend, audit, auditDark, check, open, program, run, shots, start, stop, watch, work } from "./harness.mjs";

if (spawnSync("wlmscpfs", ["--version"]).status !== 0) { console.log("skipped: wlmscpfs (package dcmtk) is not there"); process.exit(77); }
const freePort = () => new Promise(done => { const one = createServer().listen(0, "127.0.0.1", () => { const p = one.address().port; one.close(() => done(p)); }); });
const today = new Date().toLocaleDateString("sv").replaceAll("-", "");

/** One order (PS3.4 table K.6-1) as dump2dcm takes it. */
const order = (number, name, time, date = today) => `(0008,0005) CS [ISO_IR 192]
(0008,0050) SH [ACC-${number}]
(0008,0090) PN [Referring^Example]
(0010,0010) PN [${name}]
(0010,0020) LO [WARD-${number}]
(0010,0030) DA [19500131]
(0010,0040) CS [F]
(0010,1030) DS [60]
(0010,2000) LO
(0010,2110) LO
(0010,21c0) US 4
(0020,000d) UI [1.2.826.0.1.3680043.10.511.${number}]
(0032,1032) PN
(0032,1060) LO [Ultrasound of the lung]
(0038,0010) LO
(0040,0100) SQ
(fffe,e000) na
(0008,0060) CS [US]
(0040,0001) AE [CART1]
(0040,0002) DA [${date}]
(0040,0003) TM [${time}]
(0040,0006) PN
(0040,0007) LO [Lung, bedside]
(0040,0009) SH [S${number}]
(0040,0010) SH
(0040,0011) SH [ICU]
(fffe,e00d)
(fffe,e0dd)
(0040,1001) SH [RP${number}]
`;

await run(async () => {
  const folder = join(work, "place"), lists = join(work, "lists", "LIST"), store = join(work, "store");
  mkdirSync(folder);
  mkdirSync(lists, { recursive: true });
  writeFileSync(join(lists, "lockfile"), "");
  [["1", "Invented^Ada", "093000"], ["2", "Erfunden^Jörg=山田^太郎", "081500"], ["3", "Later^Invented", "100000", "20310101"]].forEach(([number, name, time, date]) => {
    writeFileSync(join(work, "order.txt"), order(number, name, time, date));
    const made = spawnSync("dump2dcm", ["+te", join(work, "order.txt"), join(lists, `${number}.wl`)], { encoding: "utf8" });
    if (made.status !== 0) throw new Error(`no order: ${made.stderr}`);
  });
  const port = await freePort();
  let list = null;
  const listUp = async () => {
    list = spawn("wlmscpfs", ["-csk", "-dfp", join(work, "lists"), String(port)], { stdio: "ignore" });
    for (let i = 0; i < 100; i++) {
      const there = await new Promise(done => { const wire = createConnection(port, "127.0.0.1", () => { wire.destroy(); done(true); }).on("error", () => done(false)); });
      if (there) return;
      await new Promise(done => setTimeout(done, 50));
    }
  };

  // ---- the worklist is down, then up ----
  watch.expectLoss = true; // the browser logs the server's 502
  let address = await start(folder, ["--store", store, "--worklist", `LIST@127.0.0.1:${port}`, "--title", "WARD"]);
  const page = attend(await (await open()).newPage());
  await page.goto(address);
  await page.waitForSelector(".planned .asks");
  check((await page.textContent(".planned")).includes("The worklist did not answer."), "a worklist that is down is said so");
  check(!!(await page.$("button:has-text('Begin an examination')")), "and an examination can be begun without it");
  await listUp();
  watch.expectLoss = false;
  await page.click(".planned button:has-text('ask the worklist again')");
  await page.waitForSelector(".planned li");
  const said = await page.$$eval(".planned li", rows => rows.map(row => row.textContent));
  check(said.length === 2 && said[0].includes("08:15") && said[0].includes("Erfunden, Jörg") && said[0].includes("born 1950-01-31") && said[0].includes("ID WARD-2") && said[1].includes("Invented, Ada"),
    `today's orders, the earliest first ${said.join(" | ")}`);
  await audit("planned", page);
  await auditDark("planned", page);
  await shots("planned", page);
  await page.click("button:has-text('Deutsch')");
  check((await page.textContent(".planned h2")) === "Heute geplant" && (await page.textContent(".planned")).includes("geb. 1950-01-31"), "in German");
  await page.click("button:has-text('English')");

  // ---- begun ----
  await page.selectOption(".planned select", "12-zones");
  await page.click(".planned li:has-text('Invented, Ada') button");
  await page.waitForFunction(() => /#\/exam\//.test(location.hash));
  const made = readdirSync(folder), info = JSON.parse(readFileSync(join(folder, made[0], "exam-info.json"), "utf8"));
  check(made.length === 1 && info.patient.name === "Invented^Ada" && info.patient.id === "WARD-1" && info.order.accession === "ACC-1" && info.protocol === "12-zones",
    `its folder says whose it is ${JSON.stringify(info)}`);
  const exams = await page.evaluate(async at => await (await fetch(at)).text(), `${address}api/exams`);
  check(/P-[0-9a-f]{10}/.test(exams) && /Invented, Ada, 1950-01-31, ID WARD-1, ACC-1/.test(exams), "the list of examinations says whose it is");
  check((await page.textContent(".chest-head")).includes("Invented, Ada"), "and so does the examination");
  const forged = await page.evaluate(async at => (await fetch(at, { method: "POST", headers: { "X-Strandline": "1", "Content-Type": "application/json" }, body: JSON.stringify({ key: "0123456789abcdef", protocol: "8-zones" }) })).status,
    `${address}api/planned`).catch(() => 0);
  check(forged === 404, `one that is not planned cannot be begun (${forged})`);
  watch.errors.length = 0; // the browser logs that 404
  await page.close();
  await stop();

  // ---- no worklist named; a learner ----
  address = await start(folder, ["--store", store]);
  const without = attend(await (await open()).newPage());
  await without.goto(address);
  await without.waitForSelector("main .exams a");
  await without.waitForTimeout(300);
  check(!(await without.$(".planned")), "without a worklist nothing of it is shown");
  await without.close();
  await stop();
  const users = (words, password) => spawnSync(program, ["users", ...words, "--access", join(work, "access")], { input: password + "\n" });
  users(["add", "warden", "--role", "administrator"], "seven quiet herons");
  users(["add", "leo", "--role", "learner"], "nine loud bitterns");
  watch.expectLoss = true;
  address = await start(folder, ["--store", store, "--worklist", `LIST@127.0.0.1:${port}`, "--on", "127.0.0.1", "--name", "localhost", "--access", join(work, "access")]);
  for (const [name, password, may] of [["leo", "nine loud bitterns", false], ["warden", "seven quiet herons", true]]) {
    const one = attend(await (await open({ width: 1024, height: 768 }, { ignoreHTTPSErrors: true })).newPage());
    await one.goto(address);
    await one.fill('input[name="name"]', name);
    await one.fill('input[name="password"]', password);
    await one.keyboard.press("Enter");
    await one.waitForSelector("main .exams a");
    const got = await one.evaluate(async at => (await (await fetch(at)).json()), `${address}api/planned`);
    const exams = await one.evaluate(async at => await (await fetch(at)).json(), `${address}api/exams`), begun = exams.exams[0];
    check(begun.who.includes("Ada") === may && !JSON.stringify({ ...begun, who: "" }).includes("Ada"), `${name} is ${may ? "" : "not "}told whose an examination is`);
    const report = await one.evaluate(async at => (await fetch(at)).status, `${address}api/exams/${begun.id}/report.pdf`);
    check((report === 403) === !may, `${name} is ${may ? "" : "not "}given the report that names the patient (${report})`);
    check(got.may === may && got.planned.length === (may ? 2 : 0), `${name} is ${may ? "" : "not "}told what is planned`);
    const status = await one.evaluate(async ([at, key]) => (await fetch(at, { method: "POST", headers: { "X-Strandline": "1", "Content-Type": "application/json" }, body: JSON.stringify({ key, protocol: "8-zones" }) })).status,
      [`${address}api/planned`, got.planned[0]?.key ?? "0123456789abcdef"]);
    check(may ? status === 201 : status === 400 || status === 403, `and the server ${may ? "begins" : "refuses"} it (${status})`);
    await one.close();
  }
  list.kill("SIGKILL");
});
