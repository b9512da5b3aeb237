// The page on real clips, where they lie beside the project (../shared/clips; else skipped with this sentence): they come in, are
// read and drawn, every frame can be shown, a finding is decided, the report's pages appear. Nothing of them is kept.
// Usage: node check_real.mjs STRANDLINE WEB_FOLDER [FOLDER_FOR_SCREENSHOTS]
import { existsSync, mkdirSync, readdirSync } from "node:fs";
import { join } from "node:path";
import { attend, audit, check, open, run, shots, start, watch, web, work } from "./harness.mjs";

const shared = join(web, "..", "..", "shared", "clips");
const videos = folder => existsSync(folder) ? readdirSync(folder, { withFileTypes: true }).flatMap(entry =>
  entry.isDirectory() ? videos(join(folder, entry.name)) : /\.(mp4|avi|mov|gif|mpe?g)$/i.test(entry.name) ? [join(folder, entry.name)] : []) : [];
const all = videos(shared).sort();
if (all.length < 3) { console.log("skipped: there are no real clips in ../shared/clips"); process.exit(77); }
// of different sources: evenly through the list, which is sorted by folder
const some = [0.1, 0.55, 0.9].map(at => all[Math.floor(at * all.length)]);

await run(async () => {
  mkdirSync(join(work, "place", "2031-05-07"), { recursive: true });
  const address = await start(join(work, "place"), ["--store", join(work, "store")]);
  const page = attend(await (await open()).newPage());
  await page.goto(address);
  await page.click("main .exams a");
  await page.waitForSelector(".bring input", { state: "attached" });
  await page.setInputFiles(".bring input", some);
  const exam = (await page.evaluate(() => location.hash)).split("/")[2]; // some find their zone by their names, the others wait below
  await page.waitForFunction(count => document.querySelectorAll(".tile .picture img, .loose-clip img").length >= count, some.length);
  check(true, `${some.length} real clips of different sources are brought in and read`);
  const links = (await (await fetch(`${address}api/exams/${exam}`)).json()).clips.map(clip => `#/exam/${exam}/${clip.id}`);
  for (const [i, link] of links.entries()) {
    await page.goto(address + link);
    await page.waitForSelector("canvas[data-frame]");
    await page.waitForFunction(() => Number(document.querySelector(".axis")?.getAttribute("aria-valuemax")) > 0);
    const drawn = await page.$eval("canvas[data-frame]", canvas => {
      const small = document.createElement("canvas"), pen = small.getContext("2d");
      small.width = small.height = 64;
      pen.drawImage(canvas, 0, 0, 64, 64);
      const bytes = pen.getImageData(0, 0, 64, 64).data, greys = new Set();
      for (let k = 0; k < bytes.length; k += 4) greys.add(bytes[k]);
      return greys.size;
    });
    check(drawn > 20, `clip ${i + 1} is drawn (${drawn} greys)`);
    const before = await page.$eval("canvas[data-frame]", canvas => canvas.dataset.frame);
    await page.keyboard.press("ArrowRight");
    await page.waitForFunction(was => document.querySelector("canvas[data-frame]").dataset.frame !== was, before);
    const said = await page.textContent(".numbers");
    check(said.length > 100 && !/NaN|undefined|null/.test(said), `its numbers are words, and what could not be told says so`);
    if (i === 0) { await audit("a real clip", page); await shots("real", page); }
  }
  await page.keyboard.press("R");
  await page.waitForFunction(() => { const image = document.querySelector(".pages img"); return image?.complete && image.naturalWidth > 1000; });
  check(true, "the report's pages are drawn");
  check((await page.textContent(".foot")).includes("does not replace"), "the caution stands there");
});
