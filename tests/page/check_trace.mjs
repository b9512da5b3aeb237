// The motion trace in the browser: its line set by mouse and by keys alone, a curve, measuring along it, what it says in both
// languages, a gap in the recording, and a connection that is lost. Every state is held to axe-core's rules.
// Usage: node check_trace.mjs STRANDLINE WEB_FOLDER [FOLDER_FOR_SCREENSHOTS]
import { spawnSync } from "node:child_process";
import { join } from "node:path";
import { attend, audit, auditDark, check, open, program, run, shot, start as serve, stop, watch, work } from "./harness.mjs";

const start = () => serve(join(work, "demo"), ["--store", join(work, "store")]);

await run(async () => {
  if (spawnSync(program, ["simulate", "--demo", join(work, "demo")]).status !== 0) throw new Error("the demo examination could not be made");
  let address = await start();
  const context = await open(), page = attend(await context.newPage());
  await page.goto(address);
  await page.waitForSelector(".exams a");
  await page.click(".exams li:nth-child(2) a");
  await page.waitForSelector(".tile .picture img");
  await page.waitForFunction(() => !document.querySelector(".progress progress") && document.querySelector(".rescan"));
  await page.focus('[data-zone="R-upper-lateral"]');
  await page.keyboard.press("Enter");
  const asked = []; // what the page asks for
  page.on("request", request => { if (/\/trace\?/.test(request.url())) asked.push(new URL(request.url())); });
  await page.waitForSelector(".trace-says");
  const picture = () => page.$eval(".trace", one => one.toDataURL());
  const settled = () => page.waitForSelector('.trace[aria-busy="false"]'); // the trace shown is that of the line as it is
  const points = async () => (await page.$$eval(".line-points [data-point]", all => all.map(one => one.getAttribute("aria-label")))).map(label => label.match(/(\d+) %/g).map(parseFloat));
  const last = () => asked.at(-1).searchParams.get("points").split(";").map(one => one.split(",").map(Number));
  const said = () => page.textContent(".trace-says");
  await settled();
  check(/mm long/.test(await said()) && /meets the pleura at [\d.]+ mm/.test(await said()) && /texture below the pleura/.test(await said()), `the trace says its length, the pleura's depth and the texture: ${await said()}`);
  const [depth, shownTexture] = await page.evaluate(async () => {
    const [, , exam, id] = location.hash.split("/"), clip = (await (await fetch(`api/exams/${exam}`)).json()).clips.find(one => one.id === id);
    return ["pleura_depth_mm", "trace_texture"].map(name => clip.reading.findings.find(one => one.finding === name).value);
  });
  check(Math.abs(parseFloat(/pleura at ([\d.]+)/.exec(await said())[1]) - depth) < 4, `near the depth of the reading, which is over all spaces (${depth.toFixed(1)} mm)`);
  check(shownTexture === null || (await said()).includes(`(over all spaces ${shownTexture.toFixed(2)})`), "the reading's own texture stands beside it");

  // ---- by mouse ----
  const box = await (await page.$('[data-picture="straight"] canvas.over')).boundingBox();
  const at = (beam, deep) => [box.x + box.width * beam, box.y + box.height * deep];
  let before = await picture();
  await page.mouse.dblclick(...at(0.5, 0.45));
  await settled();
  check((await points()).length === 3 && asked.at(-1).searchParams.get("points").split(";").length === 3, "double click on the line adds a point");
  check(await picture() === before || (await points())[1][0] === 50, "which changes nothing as long as it lies on the line");
  const drawn = () => page.$eval(".trace", one => Number(one.dataset.drawn));
  const first = await drawn();
  await page.mouse.move(...at(0.5, 0.45));
  await page.mouse.down();
  for (let i = 1; i <= 8; i++) { await page.mouse.move(...at(0.5 + 0.03 * i, 0.45 - 0.01 * i)); await page.waitForTimeout(60); }
  const during = await drawn();
  await page.mouse.up();
  await settled();
  check(during >= first + 4 && await picture() !== before, `the trace follows while a point is dragged (${during - first} times)`);
  check(Math.abs(last()[1][0] - 0.74) < 0.01 && Math.abs(last()[1][1] - 0.37) < 0.01, "and ends with the line where the hand left it");
  await audit("motion trace along a curve", page);
  await shot("trace-curve", page);
  before = last();
  await page.mouse.move(...at(0.5, 0.985));
  await page.mouse.down();
  await page.mouse.move(...at(0.3, 0.7), { steps: 4 });
  await page.mouse.up();
  await settled();
  check(last()[2][0] < 0.35 && last()[0].join() === before[0].join() && last()[1].join() === before[1].join(), "the other points stay");

  // ---- measuring along the curve ----
  await page.selectOption(".measured select", "trace");
  await page.click(".measured button:has-text('measure it')");
  const placed = async (x, y) => { // touches the trace at shares of its width and height, wherever the page stands
    const canvas = await page.$("canvas.trace");
    await canvas.scrollIntoViewIfNeeded();
    const on = await canvas.boundingBox();
    await page.mouse.click(on.x + on.width * x, on.y + Math.min(on.height - 1, Math.max(1, on.height * y)));
  };
  await placed(0.3, 0);
  await placed(0.6, 1);
  await page.waitForFunction(() => /mm\/s/.test(document.querySelector(".measured output")?.textContent ?? ""));
  const way = parseFloat(await page.textContent(".measured output")), long = parseFloat(/line is (\d+) mm/.exec(await said())[1]);
  const [, , exam, id] = new URL(page.url()).hash.split("/"), query = last().map(one => one.join(",")).join(";");
  const chords = await page.evaluate(async ask => (await (await fetch(ask)).json()).value, `api/exams/${exam}/clips/${id}/measure?kind=path&points=${query}`);
  const high = await page.$eval("canvas.trace", one => one.clientHeight); // touched a pixel inside either end
  check(Math.abs(way - long * (high - 2) / high) < 1 && long > chords, `from end to end it is as long as the curve: ${way} of ${long} mm, its corners ${chords.toFixed(1)} mm`);
  await shot("trace-measured", page);
  await page.click(".measured button:has-text('away with it')");

  // ---- by keys alone ----
  await page.click("button:has-text('straight down the middle')");
  await settled();
  check((await points()).length === 2, "one touch makes it straight again");
  const frame = () => page.$eval('[data-picture="fan"] canvas', canvas => Number(canvas.dataset.frame));
  const stood = await frame();
  await page.focus('[data-point="0"]');
  for (let i = 0; i < 7; i++) await page.keyboard.press("ArrowRight");
  await page.keyboard.press("Shift+ArrowDown");
  check((await points())[0].slice(-2).join() === "57,5" && await frame() === stood, `arrow keys move the point and not the clip (${(await points())[0]})`);
  check(/point 1: 57 % across, 5 % deep/.test(await page.textContent(".trace-words [role=status].unseen")), "a screen reader is told where it is");
  await page.keyboard.press("Insert");
  await page.waitForFunction(() => document.activeElement?.getAttribute("data-point") === "1");
  check((await points()).length === 3, "insert adds a point and goes to it");
  for (let i = 0; i < 3; i++) await page.keyboard.press("Shift+ArrowLeft");
  await settled();
  check(last().length === 3 && last()[1][0] < 0.42, "which bends the line");
  check(await page.$eval(":focus", one => getComputedStyle(one).outlineStyle !== "none"), "the point in hand shows that it is");
  await auditDark("motion trace", page);
  await page.keyboard.press("Delete");
  await page.waitForFunction(() => document.querySelectorAll(".line-points [data-point]").length === 2);
  await page.keyboard.press("Delete");
  check((await points()).length === 2, "a line keeps two points");
  for (let i = 0; i < 20; i++) await page.click("button:has-text('add a point')", { force: true }).catch(() => {});
  check((await points()).length === 16 && await page.$eval("button:has-text('add a point')", one => one.disabled), "and has sixteen at most");
  await page.click("button:has-text('straight down the middle')");
  await settled();

  // ---- a gap in the recording: what the server says of it, hatched and no place to measure at ----
  await page.route(/\/trace\?/, async route => {
    const answer = await route.fetch(), body = await answer.body(), length = body.readUInt32LE(0), head = JSON.parse(body.subarray(4, 4 + length).toString());
    head.frames = head.frames.map((one, x) => x > 0.4 * head.width && x < 0.6 * head.width ? -1 : one);
    const text = Buffer.from(JSON.stringify(head)), size = Buffer.alloc(4);
    size.writeUInt32LE(text.length);
    await route.fulfill({ response: answer, body: Buffer.concat([size, text, body.subarray(4 + length)]) });
  });
  const next = page.waitForResponse(/\/trace\?/); // of the next clip: until then the trace of this one stands there, settled
  await page.keyboard.press("]");
  await next;
  await settled();
  const light = await page.$eval(".trace", one => { const d = one.getContext("2d").getImageData(Math.round(one.width * 0.5), 0, 1, one.height).data; let sum = 0; for (let i = 0; i < d.length; i += 4) sum += d[i]; return sum / (d.length / 4); });
  check(light > 190, `a gap is hatched on paper, not black (${light.toFixed(0)})`);
  await page.click(".measured button:has-text('measure it')");
  await placed(0.5, 0.5);
  await placed(0.52, 0.5);
  await page.waitForTimeout(200);
  check(!(await page.$(".measured output")), "nothing is measured in it");
  await page.click(".measured button:has-text('away with it')");
  await shot("trace-gap", page);
  await page.unroute(/\/trace\?/);

  // ---- in German ----
  await page.evaluate(() => localStorage.setItem("strandline-language", "de"));
  await page.reload();
  await page.waitForSelector(".trace-says");
  await settled();
  const german = await page.textContent(".trace-words");
  check(/die Linie ist \d+ mm lang · trifft die Pleura bei \d+,\d mm · .*Textur unter der Pleura/.test(german) && /Punkt dazu/.test(german) && /Pfeiltasten/.test(german), `in German: ${german.slice(0, 160)}`);
  check(/^Punkt 1 von 2: 50 % quer, 0 % tief$/.test(await page.getAttribute('[data-point="0"]', "aria-label")), "its points, too");
  await audit("motion trace, German", page);
  await shot("trace-german", page);

  // ---- the server goes away and comes back ----
  watch.expectLoss = true;
  before = await picture();
  await stop();
  await page.focus('[data-point="1"]');
  await page.keyboard.press("Shift+ArrowLeft");
  await page.waitForSelector(".trace-words .asks");
  check(/strandline antwortet nicht: Die Bewegungsspur/.test(await page.textContent(".trace-words .asks")) && await picture() === before, "without the server the last trace stays, and the page says that it is not this line's");
  await audit("motion trace without a server", page);
  await page.route(/\/api\//, async route => { // the key in the address is new after a restart
    await route.continue({ url: address.replace(/\/$/, "") + new URL(route.request().url()).pathname.replace(/^\/[0-9a-f]{32}/, "") + new URL(route.request().url()).search });
  });
  const answered = page.waitForResponse(one => /\/trace\?/.test(one.url()) && one.status() === 200, { timeout: 60000 });
  address = await start();
  await answered;
  await page.waitForFunction(() => document.querySelector(".trace-says") && !document.querySelector(".trace-words .asks"), null, { timeout: 60000 });
  await settled();
  check(await picture() !== before && last()[1][0] === 0.45 && /45 % quer/.test(await page.getAttribute('[data-point="1"]', "aria-label")), `when it is back the trace of the line as it is now comes by itself (${last()[1]}; ${await page.getAttribute('[data-point="1"]', "aria-label")})`);
});
