// What the browser tests share: the program serving a folder, Debian's Chromium driven by playwright-core, axe-core's rules,
// screenshots, and the watch for errors and for anything fetched from elsewhere.
import { spawn } from "node:child_process";
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync } from "node:fs";
import { createRequire } from "node:module";
import { createServer } from "node:net";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";

// further words, for tests that need them: the Python that has the reference libraries, the folder of the scenarios
export const [program, web] = process.argv.slice(2, 4).map(one => resolve(one));
const more = process.argv.slice(4);
export const python = more.find(one => /python[0-9.]*$/.test(one)) ?? "python3", scenarios = more.find(one => /scenarios\/?$/.test(one)), pictures = more.find(one => one !== python && one !== scenarios);
const skip = why => { console.log(`skipped: ${why}`); process.exit(77); };
const chromium = ["/usr/bin/chromium", "/usr/bin/chromium-browser"].find(existsSync) ?? skip("Chromium is not here (Debian: chromium)");
if (!existsSync(join(web, "node_modules", "playwright-core"))) skip("the page's packages are not here (npm ci in web/)");
const require = createRequire(join(web, "package.json"));
const driver = require("playwright-core").chromium, axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

let failed = 0;
export const check = (truth, what) => { console.log(truth ? "ok  " : "FAIL", what); if (!truth) failed++; };
export const work = mkdtempSync(join(tmpdir(), "strandline-page-"));
export const port = await new Promise(done => { const one = createServer().listen(0, "127.0.0.1", () => { const p = one.address().port; one.close(() => done(p)); }); });

let server, browser, origin;
/** Serves a folder; resolves to the address. */
export function start(folder, more = []) {
  return new Promise((done, fail) => {
    server = spawn(program, ["serve", folder, "--port", String(port), ...more]);
    let said = "";
    server.stdout.on("data", piece => {
      said += piece;
      const found = /https?:\/\/\S+\/\n/.exec(said);
      if (!found) return;
      origin = new URL(found[0]).origin;
      done(found[0].trim());
    });
    server.stderr.on("data", piece => { said += piece; });
    server.on("exit", code => fail(new Error(`the server ended: ${code} ${said}`)));
  });
}
export const stop = () => new Promise(done => { server.removeAllListeners("exit"); server.on("exit", done); server.kill("SIGTERM"); });

export const watch = { elsewhere: [], errors: [], expectLoss: false };

/** A browser window; its pages are attended to. */
export async function open(viewport = { width: 1440, height: 900 }, more = {}) {
  browser ??= await driver.launch({ executablePath: chromium, args: ["--no-sandbox", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync", "--use-angle=swiftshader", "--enable-unsafe-swiftshader"] });
  return await browser.newContext({ viewport, colorScheme: "light", ...more });
}
export function attend(page) {
  page.setDefaultTimeout(40000);
  page.on("request", request => { if (!request.url().startsWith(`${origin}/`) && !request.url().startsWith("blob:")) watch.elsewhere.push(request.url()); });
  page.on("pageerror", cause => watch.errors.push(cause.message));
  page.on("console", message => { if (message.type() === "error" && !watch.expectLoss) watch.errors.push(message.text()); });
  return page;
}

/** Holds what is on the screen to axe-core's rules (WCAG 2.1 A and AA). */
export async function audit(name, page) {
  await page.evaluate(axe);
  const found = await page.evaluate(async () => (await window.axe.run(document, { runOnly: ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"] })).violations
    .filter(one => one.impact === "serious" || one.impact === "critical").map(one => `${one.id}: ${one.nodes.slice(0, 3).map(node => node.target.join(" ")).join(", ")}`));
  check(found.length === 0, `axe: ${name} ${found.join("; ")}`);
}

/** Every view in the dark, too, and with text at 200 %. */
export async function auditDark(name, page) {
  await page.emulateMedia({ colorScheme: "dark" });
  await page.waitForTimeout(100);
  await audit(`${name}, dark`, page);
  await page.emulateMedia({ colorScheme: "light" });
  await page.evaluate(() => { document.documentElement.style.fontSize = "200%"; });
  await page.waitForTimeout(120);
  const over = await page.evaluate(() => document.documentElement.scrollWidth - document.documentElement.clientWidth);
  check(over <= 1, `text at 200 % fits on ${name} (${over} px over)`);
  await page.evaluate(() => { document.documentElement.style.fontSize = ""; });
}

/** One picture, where a folder for them was named. */
export async function shot(name, page) {
  if (!pictures) return;
  mkdirSync(pictures, { recursive: true });
  await page.screenshot({ path: join(pictures, `${name}.png`), fullPage: true });
}

/** Pictures in three sizes, light and dark, where a folder for them was named. */
export async function shots(name, page) {
  if (!pictures) return;
  mkdirSync(pictures, { recursive: true });
  const before = page.viewportSize();
  for (const [size, width, height] of [["tablet", 820, 1180], ["laptop", 1440, 900], ["large", 2560, 1440]])
    for (const colorScheme of ["light", "dark"]) {
      await page.setViewportSize({ width, height });
      await page.emulateMedia({ colorScheme });
      await page.waitForTimeout(250);
      await page.screenshot({ path: join(pictures, `${name}-${size}-${colorScheme}.png`), fullPage: true });
    }
  await page.setViewportSize(before);
  await page.emulateMedia({ colorScheme: "light" });
}

/** Runs the test; cleans up whatever happens. */
export async function run(test) {
  try {
    await test();
    check(watch.elsewhere.length === 0, `nothing is fetched from elsewhere ${watch.elsewhere.slice(0, 3)}`);
    check(watch.errors.length === 0, `no error in the browser's console ${watch.errors.slice(0, 3).join(" | ")}`);
  } finally {
    await browser?.close();
    if (server) { server.removeAllListeners("exit"); server.kill("SIGKILL"); }
    rmSync(work, { recursive: true, force: true });
  }
  console.log(`${failed} failed`);
  process.exit(failed ? 1 : 0);
}
