// The motion trace: every frame's grey along the line, side by side in time. The server makes it (src/serve/motion.h) while the line
// is dragged: one question at a time, the newest line next, and what is there stays until the next has come.
import { signal } from "@preact/signals";
import { useEffect, useRef } from "preact/hooks";
import { stream, Trouble } from "./api";
import { in01, known } from "./geometry";
import { decimal, language, t } from "./language";
import { addPoint, curve, held, line, mostPoints, movePoint, straighten, takePoint, type Spot } from "./line";
import { colour } from "./marks";
import { measured, placeOnTrace } from "./measure";
import type { Player } from "./player";
import { route, signedOut, theme } from "./state";
import type { Clip } from "./types";

interface Head {
  width: number; rows: number; timed: boolean; axis: [number, number]; every: number; frames: number[]; line: [number, number][];
  length_mm: number | null; length_share: number; pleura: { at: number; beam: number; depth: number; depth_mm: number | null } | null;
  texture: { known: boolean; reason: string; value: number | null; beams: [number, number]; clip: number | null };
}
/** The trace that is shown, and the line that it is of. */
interface Sheet { clip: string; of: Spot[]; head: Head; grey: Uint8Array }

const shown = signal<Sheet | null>(null);
const waits = signal(""); // why there is none of the line as it is now
const rows = 180, apartMs = 40; // between questions: fluent, and far below what a session may ask in a second

async function ask(clip: string, of: Spot[], width: number, signalled: AbortSignal): Promise<Sheet> {
  const points = of.map(one => `${one.beam.toFixed(4)},${one.depth.toFixed(4)}`).join(";");
  const response = await stream(`api/exams/${route.value.exam}/clips/${clip}/trace?points=${points}&rows=${rows}&width=${width}`, signalled);
  const bytes = new Uint8Array(await response.arrayBuffer()), length = new DataView(bytes.buffer).getUint32(0, true);
  const head = JSON.parse(new TextDecoder().decode(bytes.subarray(4, 4 + length))) as Head;
  return { clip, of, head, grey: bytes.subarray(4 + length) };
}

export function Trace({ clip, player }: { clip: Clip; player: Player }) {
  const canvas = useRef<HTMLCanvasElement>(null);
  useEffect(() => {
    const sheet = canvas.current!, end = new AbortController();
    let asking = false, retry = 0, request = 0;
    const draw = (): void => {
      request = 0;
      const now = shown.value;
      if (now?.clip !== clip.id) return;
      paint(sheet, now);
      const taken = measured.value;
      if (taken?.clip === clip.id && taken.kind === "trace" && taken.line === line.value) drawTaken(sheet, taken, player.frames.duration);
      sheet.dataset["drawn"] = String(Number(sheet.dataset["drawn"] ?? 0) + 1);
      if (now.of === line.value) sheet.setAttribute("aria-busy", "false");
    };
    const later = (): void => { request ||= requestAnimationFrame(draw); };
    const follow = async (): Promise<void> => {
      if (asking || end.signal.aborted || !known(clip.view) || !player.frames.complete || player.count < 1) return;
      const of = line.value, width = Math.min(4096, sheet.clientWidth);
      const now = shown.value;
      if (width < 2) return; // not laid out
      if (now?.clip === clip.id && now.of === of && now.head.width === width) return;
      asking = true;
      clearTimeout(retry);
      const began = performance.now(), again = (after: number): void => {
        retry = window.setTimeout(() => { asking = false; void follow(); }, after); // the line may have moved on meanwhile
      };
      try {
        const got = await ask(clip.id, of, width, end.signal);
        if (end.signal.aborted) return;
        curve.value = { clip: clip.id, of, places: got.head.line };
        shown.value = got;
        waits.value = "";
      } catch (cause) {
        if (end.signal.aborted) return;
        curve.value = null; // the points alone show where the line is
        if (cause instanceof Trouble && cause.status === 401) { signedOut.value = true; return; }
        const answers = cause instanceof Trouble && !cause.lost && cause.status !== 429;
        waits.value = answers ? cause.message : "strandline does not answer: the motion trace is not of this line. It is asked for again.";
        if (answers) asking = false; // refused: nothing more until the line is another
        else again(1500);
        return;
      }
      again(Math.max(0, apartMs - (performance.now() - began)));
    };
    const off = [line.subscribe(() => { if (shown.value?.clip !== clip.id || shown.value.of !== line.value) sheet.setAttribute("aria-busy", "true"); later(); void follow(); }), measured.subscribe(later), shown.subscribe(later), theme.subscribe(later), player.frames.on(() => void follow())];
    const watcher = new ResizeObserver(() => void follow());
    watcher.observe(sheet);
    void follow();
    return () => { end.abort(); clearTimeout(retry); waits.value = ""; off.forEach(one => one()); watcher.disconnect(); cancelAnimationFrame(request); };
  }, [clip.id, player]);
  const touch = (event: PointerEvent): void => {
    const rect = canvas.current!.getBoundingClientRect(), now = shown.value;
    if (now?.clip !== clip.id || now.of !== line.value) return;
    const share = in01((event.clientY - rect.top) / rect.height), x = Math.floor((event.clientX - rect.left) / rect.width * now.head.width);
    const frame = now.head.frames[Math.min(now.head.width - 1, Math.max(0, x))] ?? -1, { frames } = player;
    const time = frames.times[frames.ofIndex(frame)]; // of the frame that stands there; in a gap there is none
    if (frame >= 0 && time !== undefined && placeOnTrace(share, now.of, time, player)) event.stopPropagation();
  };
  return <canvas ref={canvas} class="trace" onPointerDown={touch} role="img" aria-label={t("Motion trace: grey along the line over time")} />;
}

function paint(sheet: HTMLCanvasElement, { head, grey }: Sheet): void {
  const { width, rows: high, frames } = head, image = new ImageData(width, high), out = new Uint32Array(image.data.buffer);
  for (let i = 0; i < out.length; i++) {
    const v = grey[i]!;
    out[i] = 0xff000000 | v << 16 | v << 8 | v;
  }
  if (sheet.width !== width || sheet.height !== high) { sheet.width = width; sheet.height = high; }
  const pen = sheet.getContext("2d")!, style = getComputedStyle(document.documentElement); // the look may have changed
  pen.putImageData(image, 0, 0);
  for (let x = 0; x < width; x++) { // nothing was recorded there: hatched, so that it is not taken for black
    if (frames[x] !== -1) continue;
    let to = x;
    while (to < width && frames[to] === -1) to++;
    pen.save();
    pen.beginPath();
    pen.rect(x, 0, to - x, high);
    pen.fillStyle = style.getPropertyValue("--paper");
    pen.fill();
    pen.clip();
    pen.beginPath();
    for (let k = x - high; k < to; k += 7) { pen.moveTo(k, high); pen.lineTo(k + high, 0); }
    pen.strokeStyle = style.getPropertyValue("--hatch");
    pen.lineWidth = 1;
    pen.stroke();
    pen.restore();
    x = to;
  }
  if (head.pleura) { // where the line meets the pleura, at both ends of the time
    const y = head.pleura.at * high;
    for (const [ink, wide] of [["rgba(11,16,18,.8)", 4], [colour("--colour-mark-pleura"), 2]] as const) {
      pen.strokeStyle = ink;
      pen.lineWidth = wide;
      pen.beginPath();
      pen.moveTo(0, y); pen.lineTo(14, y);
      pen.moveTo(width - 14, y); pen.lineTo(width, y);
      pen.stroke();
    }
  }
}

/** What was measured on the trace: a cross at each place, and the way between. */
function drawTaken(sheet: HTMLCanvasElement, taken: { along: number[]; times: number[] }, duration: number): void {
  const pen = sheet.getContext("2d")!, { width, height } = sheet;
  const points = taken.along.map((share, i) => ({ x: taken.times[i]! / duration * width, y: share * height }));
  for (const [ink, wide] of [["rgba(11,16,18,.8)", 4], [colour("--colour-mark-other"), 1.5]] as const) {
    pen.strokeStyle = ink;
    pen.lineWidth = wide;
    pen.beginPath();
    points.forEach((p, i) => { if (i) pen.lineTo(p.x, p.y); else pen.moveTo(p.x, p.y); });
    for (const p of points) { pen.moveTo(p.x - 5, p.y); pen.lineTo(p.x + 5, p.y); pen.moveTo(p.x, p.y - 5); pen.lineTo(p.x, p.y + 5); }
    pen.stroke();
  }
}

const percent = (share: number): string => `${Math.round(share * 100)} %`;

/** What the trace says, and the points of its line for keys and screen readers. */
export function TraceWords({ clip }: { clip: Clip }) {
  void language.value;
  const said = useRef<HTMLSpanElement>(null), view = known(clip.view) ? clip.view : null, points = line.value;
  if (!view) return null;
  const name = (i: number): string => `${t("point")} ${i + 1} ${t("of")} ${points.length}: ${percent(points[i]!.beam)} ${t("across")}, ${percent(points[i]!.depth)} ${t("deep")}`;
  const focusOn = (i: number): void => { requestAnimationFrame(() => document.querySelector<HTMLElement>(`.line-points [data-point="${i}"]`)?.focus()); };
  const tell = (): void => { const i = held.value; if (i >= 0 && line.value[i]) said.current!.textContent = `${t("point")} ${i + 1}: ${percent(line.value[i].beam)} ${t("across")}, ${percent(line.value[i].depth)} ${t("deep")}`; };
  const keys = (i: number) => (event: KeyboardEvent): void => {
    if (event.ctrlKey || event.altKey || event.metaKey) return;
    const step = event.shiftKey ? 0.05 : 0.01, one = line.value[i];
    if (!one) return;
    switch (event.key) {
      case "ArrowLeft": movePoint(i, { ...one, beam: one.beam - step }); break;
      case "ArrowRight": movePoint(i, { ...one, beam: one.beam + step }); break;
      case "ArrowUp": movePoint(i, { ...one, depth: one.depth - step }); break;
      case "ArrowDown": movePoint(i, { ...one, depth: one.depth + step }); break;
      case "Insert": case "+": addPoint(i, view); focusOn(held.value); break;
      case "Delete": case "Backspace": takePoint(i); focusOn(held.value); break;
      default: return;
    }
    event.preventDefault();
    tell();
  };
  return <div class="trace-words">
    <TraceSays clip={clip} />
    <div class="line-points" role="group" aria-label={t("Points of the motion trace's line")}>
      {points.map((_, i) => <button key={i} class="plain" data-point={i} aria-label={name(i)} aria-describedby="line-keys" aria-pressed={held.value === i ? "true" : "false"}
        onKeyDown={keys(i)} onFocus={() => { held.value = i; }} onClick={() => { held.value = i; }}>{i + 1}</button>)}
      <button class="plain" disabled={points.length >= mostPoints} onClick={() => { addPoint(held.value < 0 ? 0 : held.value, view); tell(); }}>{t("add a point")}</button>
      <button class="plain" disabled={points.length <= 2} onClick={() => { takePoint(held.value < 0 ? points.length - 2 : held.value); tell(); }}>{t("take the point away")}</button>
      <button class="plain" onClick={straighten}>{t("straight down the middle")}</button>
    </div>
    <small class="quiet" id="line-keys">{t("Arrow keys move the point in hand, with shift in larger steps; insert adds one after it, delete takes it away. In the picture: drag points or the whole line, double click adds a point or takes it away.")}</small>
    <span class="unseen" role="status" ref={said} />
  </div>;
}

function TraceSays({ clip }: { clip: Clip }) {
  const now = shown.value?.clip === clip.id ? shown.value : null, wait = waits.value;
  if (!now) return wait ? <p class="asks" role="status">{t(wait)}</p> : null;
  const { texture, pleura, length_mm: mm, length_share: share, every, timed } = now.head, parts: string[] = [];
  parts.push(mm !== null ? `${t("the line is")} ${mm.toFixed(0)} mm ${t("long")}` : `${t("the line is as long as")} ${percent(share)} ${t("of the imaged depth")}`);
  if (pleura) parts.push(pleura.depth_mm !== null ? `${t("meets the pleura at")} ${pleura.depth_mm.toFixed(1)} mm` : `${t("meets the pleura at")} ${percent(pleura.depth)} ${t("of the imaged depth")}`);
  const whole = texture.clip !== null ? ` ${t("(over all spaces")} ${texture.clip.toFixed(2)})` : "";
  parts.push(texture.known ? `${t("texture below the pleura along this line")} ${texture.value!.toFixed(2)}${whole}: ${t("1 layered, more granular")}` : `${t("texture below the pleura could not be told")}: ${t(texture.reason)}${whole}`);
  if (!timed && (clip.frames ?? 0) > 1) parts.push(t("the times of the frames are not known: even steps"));
  if (every > 1) parts.push(`${t("a long clip: one frame of")} ${every}`);
  return <>{wait && <p class="asks" role="status">{t(wait)}</p>}<p class="trace-says">{decimal(parts.join(" · "))}</p></>;
}
