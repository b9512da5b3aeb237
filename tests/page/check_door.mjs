// The page beyond its own machine, in a browser: signing in, what each role sees, a session that ends while something is
// entered. Usage: node check_door.mjs STRANDLINE WEB_FOLDER [FOLDER_FOR_SCREENSHOTS]
import { spawnSync } from "node:child_process";
import { existsSync, mkdirSync, readFileSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { attend, audit as auditOn, check, open as openWindow, program, run, shot as shotOf, start, watch, web, work } from "./harness.mjs";

const users = (words, password) => spawnSync(program, ["users", ...words, "--access", join(work, "access")], { input: password + "\n" });
const audit = (page, name) => auditOn(name, page), shot = (page, name) => shotOf(name, page);

await run(async () => {
  watch.expectLoss = true; // the console tells of every answer that one is not signed in
  mkdirSync(join(work, "place", "2031-03-06"), { recursive: true });
  const made = spawnSync(program, ["simulate", join(web, "..", "scenarios", "b-three.json"), "--out", join(work, "place", "2031-03-06", "R1.mp4"), "--set", "controls.duration_s=0.6"]);
  if (made.status !== 0) throw new Error("the clip could not be made");
  users(["add", "warden", "--role", "administrator"], "seven quiet herons");
  users(["add", "leo", "--role", "learner"], "nine loud bitterns");
  const address = await start(join(work, "place"), ["--on", "127.0.0.1", "--name", "localhost", "--access", join(work, "access")]);
  const open = async () => {
    const page = attend(await (await openWindow({ width: 1024, height: 768 }, { ignoreHTTPSErrors: true })).newPage());
    await page.goto(address);
    return page;
  };
  const enter = async (page, name, password) => {
    await page.waitForSelector('input[name="password"]');
    await page.focus('input[name="name"]');
    await page.keyboard.type(name);
    await page.keyboard.press("Tab");
    await page.keyboard.type(password);
    await page.keyboard.press("Enter");
  };

  const page = await open();
  await page.waitForSelector('input[name="password"]');
  check(!(await page.textContent("body")).includes("2031-03-06"), "nothing of an examination before one signs in");
  check((await page.textContent(".foot")).includes("does not replace"), "the caution stands there, too");
  await audit(page, "sign in");
  await shot(page, "sign-in");
  await enter(page, "warden", "not the password");
  await page.waitForFunction(() => document.querySelector('form [role="alert"]')?.textContent.includes("not right"));
  check(true, "a wrong password is said");
  await page.reload();
  await enter(page, "warden", "seven quiet herons");
  await page.waitForSelector("main .exams a, .tile");
  check((await page.textContent(".top")).includes("warden"), "by keyboard alone one is in");
  await page.click('a[href="#/users"]');
  await page.waitForSelector("table.rows select");
  await page.waitForFunction(() => document.querySelectorAll("table.rows")[1]?.textContent.includes("wrong password or name"));
  check(true, "an administrator sees who entered and who failed to");
  await audit(page, "users");
  await shot(page, "users");

  // ---- the session ends while something is entered ----
  await page.goto(address + "#/");
  await page.click("main .exams a");
  await page.waitForSelector(".tile img");
  await page.waitForFunction(() => !document.querySelector(".progress progress"));
  users(["role", "leo", "--role", "administrator"], "");
  users(["add", "deputy", "--role", "administrator"], "eleven grey plovers");
  users(["role", "warden", "--role", "reader"], ""); // whose sessions end by that
  await page.keyboard.press("R");
  await page.waitForSelector("textarea");
  await page.fill("textarea", "Invented: entered as the session ended.");
  await page.locator("textarea").blur();
  await page.waitForSelector('input[name="password"]');
  check(true, "a session that ended asks for the password again");
  await enter(page, "warden", "seven quiet herons");
  const journal = join(work, "place", "2031-03-06", "report", "says.jsonl");
  for (let i = 0; i < 100 && !(existsSync(journal) && readFileSync(journal, "utf8").includes("as the session ended")); i++) await page.waitForTimeout(100);
  const kept = existsSync(journal) ? readFileSync(journal, "utf8") : "";
  check(kept.includes("as the session ended") && kept.includes('"by":"warden"'), "and what was entered meanwhile is kept, under the name of who entered it");

  // ---- and while a blind list is read ----
  await page.goto(`${address}#/readers`);
  await page.click("button:has-text('Begin a blind list')");
  await page.check("input[value=pleura_depth]");
  await page.click("button[type=submit]");
  await page.waitForSelector('[data-asked="a_lines"] button');
  users(["role", "warden", "--role", "administrator"], "");
  await page.focus('[data-asked="a_lines"] button');
  await page.keyboard.press("y");
  await page.waitForSelector('input[name="password"]');
  await enter(page, "warden", "seven quiet herons");
  const drafts = join(work, "place", "report", "readers", "drafts");
  const answered = () => existsSync(drafts) && readdirSync(drafts).some(name => readFileSync(join(drafts, name), "utf8").includes('"a_lines"'));
  for (let i = 0; i < 100 && !answered(); i++) await page.waitForTimeout(100);
  check(answered(), "an answer of a blind list that the ended session did not take is taken after signing in again");

  // ---- a learner ----
  users(["role", "leo", "--role", "learner"], "");
  const other = await open();
  await enter(other, "leo", "nine loud bitterns");
  await other.waitForSelector("main .exams a, .tile");
  check(!(await other.textContent(".top")).includes("users"), "a learner is not offered what is an administrator's");
});
