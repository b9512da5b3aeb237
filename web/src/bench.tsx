// The bench: an invented chest, the machine's controls, and what they do to the picture and to the figures behind it.
import { useEffect, useRef, useState } from "preact/hooks";
import { get, stream, Trouble } from "./api";
import { Frames, readFrames } from "./frames";
import { trueAspect } from "./geometry";
import { useKeys } from "./keys";
import { decimal, language, t } from "./language";
import { painterFor, type Painter } from "./painter";
import { trouble } from "./state";
import { Tasks } from "./tasks";
import type { Bench, BenchChest, Figure, FramesHead, Knob, Task } from "./types";

const names: Record<string, [string, string, number]> = { // label, unit, step
  "controls.depth_mm": ["depth", "mm", 5], "probe.freq_mhz": ["frequency", "MHz", 0.1], "controls.focus_mm": ["focus", "mm", 1],
  "controls.gain_db": ["gain", "dB", 1], "controls.depth_gain_db_cm": ["depth gain", "dB/cm", 0.1],
  "controls.dynamic_range_db": ["dynamic range", "dB", 1], "controls.compound_angles": ["compounding", "angles", 2],
  "controls.harmonics": ["harmonics", "", 1], "controls.persistence_frames": ["persistence", "pictures", 1],
  "controls.frame_rate_hz": ["frame rate", "Hz", 1], "wall.tilt_deg": ["tilt of the pleura", "°", 1],
  "motion.sliding_mm": ["sliding", "mm", 0.5], "controls.grey_map": ["grey map", "", 1],
};
/** Narrower than what the simulator takes: where a hand would turn. */
const turns: Record<string, [number, number]> = {
  "controls.depth_mm": [40, 220], "probe.freq_mhz": [1.5, 12], "controls.focus_mm": [10, 150], "controls.gain_db": [-25, 25],
  "controls.depth_gain_db_cm": [-3, 3], "controls.dynamic_range_db": [30, 100], "controls.compound_angles": [1, 9],
  "controls.persistence_frames": [1, 6], "controls.frame_rate_hz": [5, 60], "wall.tilt_deg": [-20, 20], "motion.sliding_mm": [0, 30],
};
/** Why a figure moved, with the formula. */
const formulas: Record<string, string> = {
  "highest frame rate": "c / (2 × depth × lines × angles): sound needs its time there and back",
  "resolution across, at the pleura": "≈ λ × depth / aperture at the focus, wider beside it",
  "resolution across, deep": "≈ λ × depth / aperture, with the aperture at its largest",
  "resolution along": "half the pulse: c / (2 × bandwidth)",
  "lost to soft tissue, to the pleura and back": "0.5 to 1 dB per cm and MHz, twice the way",
  "pleura's share of the imaged depth": "pleural depth / imaged depth",
  "first repeat over its surroundings": "mirror: twice the depth, one reflection more",
  "vertical artifacts to the far edge": "rings that are still above the grey floor at the far edge",
  "their share of the space": "width of those / width between the ribs",
  "vertical artifacts that fade": "rings that end before the far edge",
  "width of one at its start": "the transmitted beam's width there",
};

type Settings = Record<string, number | boolean | string>;

export function BenchSheet() {
  const [bench, setBench] = useState<Bench | null>(null), [chest, setChest] = useState(""), [set, setSet] = useState<Settings>({});
  const [figures, setFigures] = useState<Figure[]>([]), [before, setBefore] = useState<Figure[]>([]), [running, setRunning] = useState(true);
  const [slow, setSlow] = useState(""), [task, setTask] = useState<Task | null>(null);
  const canvas = useRef<HTMLCanvasElement>(null), room = useRef<HTMLDivElement>(null);
  const live = useRef({ chest: "", set: {} as Settings, frame: 0, running: true, dirty: true, picture: null as Uint8Array | null, head: null as FramesHead | null });
  useEffect(() => { get<Bench>("api/bench").then(got => { setBench(got); pick(got.chests.find(one => one.name === "b-three") ?? got.chests[0]); }).catch(trouble); }, []);
  const pick = (one: BenchChest | undefined): void => {
    if (!one) return;
    setChest(one.name);
    setSet({});
    setBefore([]);
    Object.assign(live.current, { chest: one.name, set: {}, frame: 0, dirty: true });
  };
  useEffect(() => { // asks for the next picture when the last one is on the screen: never more than one under way
    const l = live.current;
    l.dirty = true;
    let painter: Painter | null = null, layout = "", timer = 0, ended = false;
    const show = (head: FramesHead, picture: Uint8Array): void => {
      const sheet = canvas.current, box = room.current;
      if (!sheet || !box) return;
      const aspect = trueAspect(head, head.view ?? null), height = Math.min(box.clientHeight, box.clientWidth / aspect), scale = Math.min(2, devicePixelRatio || 1);
      const now = [head.width, head.height, Math.round(height), scale].join();
      if (now !== layout) {
        layout = now;
        sheet.style.height = `${Math.round(height)}px`;
        sheet.style.width = `${Math.round(height * aspect)}px`;
        sheet.width = Math.round(height * aspect * scale);
        sheet.height = Math.round(height * scale);
        painter ??= painterFor(sheet);
        painter.setUp(head, null, false);
      }
      painter!.draw(picture, { gain: 0, contrast: 1 });
    };
    const step = async (): Promise<void> => {
      if (ended) return;
      const asked = l.dirty;
      if (l.chest && (l.dirty || l.running)) {
        l.dirty = false;
        if (l.running && !asked) l.frame++;
        const begun = performance.now();
        try {
          const frames = new Frames();
          await readFrames(await stream("api/bench", undefined, { chest: l.chest, frame: l.frame, height: 400, set: l.set }), frames);
          if (ended) return;
          const head = frames.head!, picture = frames.pictures[0]!;
          l.head = head;
          l.picture = picture;
          show(head, picture);
          const took = performance.now() - begun;
          if (asked) {
            canvas.current!.dataset["latency"] = took.toFixed(1);
            canvas.current!.dataset["answers"] = String(Number(canvas.current!.dataset["answers"] ?? 0) + 1);
          }
          if (asked || l.frame % 10 === 0) setFigures(head.figures ?? []);
          setSlow("");
          const pace = 1000 / Math.min(20, head.rate_hz || 20);
          timer = window.setTimeout(() => void step(), Math.max(0, l.dirty ? 0 : pace - took));
          return;
        } catch (cause) {
          setSlow(cause instanceof Error ? cause.message : String(cause));
          if (cause instanceof Trouble && !cause.lost) l.running = false;
        }
      }
      timer = window.setTimeout(() => void step(), l.dirty ? 0 : 60);
    };
    void step();
    const again = new ResizeObserver(() => { if (l.head && l.picture) show(l.head, l.picture); });
    if (room.current) again.observe(room.current);
    return () => { ended = true; clearTimeout(timer); again.disconnect(); };
  }, [bench !== null]);
  const turn = (path: string, value: number | boolean | string): void => {
    if (!before.length || Object.keys(set).join() === "") setBefore(figures);
    const next = { ...live.current.set, [path]: value };
    live.current.set = next;
    live.current.dirty = true;
    live.current.running = running;
    setSet(next);
  };
  const run = (): void => { live.current.running = !running; live.current.dirty = true; setRunning(!running); };
  const back = (): void => { const start = task?.set ?? {}; live.current.set = start; live.current.dirty = true; setSet(start); setBefore([]); };
  const take = (one: Task | null): void => {
    setTask(one);
    pick(bench!.chests.find(other => other.name === (one ? one.chest : chest)));
    if (one) { live.current.set = one.set; setSet(one.set); }
  };
  useKeys(() => [
    { keys: ["space"], does: t("let it breathe, or hold it"), act: run },
    { keys: ["0"], does: t("all controls back"), act: back },
  ], [running, language.value]);
  if (!bench) return <p class="waiting">{t("opening ...")}</p>;
  const its = bench.chests.find(one => one.name === chest);
  return <div class="bench">
    <div class="bench-head">
      <h1>{t("Bench")}</h1>
      <p class="quiet">{t("An invented chest, simulated from physics. Turn a control and watch the picture and the figures.")} <strong class="invented">{t("Invented data")}</strong></p>
      {!task && <label class="choice-line">{t("chest")} <select value={chest} onChange={e => pick(bench.chests.find(one => one.name === (e.target as HTMLSelectElement).value))}>
        {bench.chests.map(one => <option key={one.name} value={one.name}>{one.title.replace(/^Invented: /, "")}</option>)}</select></label>}
      {!task && <p class="quiet">{its?.note}</p>}
    </div>
    <div class="bench-picture" ref={room}><canvas ref={canvas} role="img" aria-label={`${t("simulated picture")}: ${task ? t(task.ask) : its?.title ?? ""}`} /></div>
    <section class="knobs" aria-label={t("Controls")}>
      <Tasks bench={bench} task={task} set={set} begin={take} />
      <h2>{t("Controls")}</h2>
      {bench.controls.map(knob => <Turn key={knob.path} knob={knob} value={set[knob.path] ?? its?.values[knob.path]} changed={task ? set[knob.path] !== task.set[knob.path] : knob.path in set} turn={turn} />)}
      <p><button class="act" onClick={run}>{running ? t("hold it") : t("let it breathe")}</button> <button class="plain" onClick={back}>{t("all back")}</button>{" "}
        <button class="plain" onClick={() => keepPicture(canvas.current!, chest)}>{t("keep the picture")}</button></p>
      {slow && <p class="asks" role="status">{slow}</p>}
    </section>
    <section class="figures" aria-label={t("Figures")}>
      <h2>{t("What moved")}</h2>
      <dl>{[...figures].sort((a, b) => Number(moved(b, before)) - Number(moved(a, before))).map(one => {
        const old = before.find(other => other.name === one.name), m = moved(one, before);
        return <div key={one.name} class={m ? "moved" : undefined}><dt>{t(one.name)}</dt>
          <dd>{m && old?.value !== null && old?.value !== undefined ? <span class="was">{decimal(old.value.toFixed(one.decimals))} → </span> : null}{one.value === null ? t("does not apply") : `${decimal(one.value.toFixed(one.decimals))} ${one.unit}`}</dd>
          {m && <dd class="small">{t(formulas[one.name] ?? "")}</dd>}</div>;
      })}</dl>
    </section>
  </div>;
}

function moved(one: Figure, before: Figure[]): boolean {
  const old = before.find(other => other.name === one.name);
  return !!old && (old.value === null) !== (one.value === null) || !!old && old.value !== null && one.value !== null && old.value.toFixed(one.decimals) !== one.value.toFixed(one.decimals);
}

function Turn({ knob, value, changed, turn }: { knob: Knob; value: number | boolean | string | undefined; changed: boolean; turn: (path: string, value: number | boolean | string) => void }) {
  const [label, unit, step] = names[knob.path] ?? [knob.path, "", 1];
  if (knob.type === "bool")
    return <label class={`turn ${changed ? "turned" : ""}`} title={t(knob.meaning)}><span>{t(label)}</span><input type="checkbox" checked={value === true} onChange={e => turn(knob.path, (e.target as HTMLInputElement).checked)} /><output>{value ? t("on") : t("off")}</output></label>;
  if (knob.type === "choice")
    return <label class={`turn ${changed ? "turned" : ""}`} title={t(knob.meaning)}><span>{t(label)}</span><select value={String(value)} onChange={e => turn(knob.path, (e.target as HTMLSelectElement).value)}>{knob.names.map(name => <option key={name} value={name}>{t(name)}</option>)}</select><output /></label>;
  const [low, high] = turns[knob.path] ?? [knob.low, knob.high];
  const shown = typeof value === "number" ? value : low;
  return <label class={`turn ${changed ? "turned" : ""}`} title={t(knob.meaning)}><span>{t(label)}</span>
    <input type="range" min={low} max={high} step={step} value={shown} data-path={knob.path} onInput={e => turn(knob.path, Number((e.target as HTMLInputElement).value))} />
    <output>{decimal(String(+shown.toFixed(2)))} {unit === "angles" ? t(shown > 1 ? "angles" : "angle: off") : t(unit)}</output></label>;
}

/** The picture as a file, marked as invented in the picture itself. */
function keepPicture(canvas: HTMLCanvasElement, chest: string): void {
  const copy = document.createElement("canvas");
  copy.width = canvas.width;
  copy.height = canvas.height + 40;
  const c = copy.getContext("2d")!;
  c.fillStyle = "#0B1012";
  c.fillRect(0, 0, copy.width, copy.height);
  c.drawImage(canvas, 0, 0);
  c.fillStyle = "#F1E4C3";
  c.font = "16px DejaVu Sans";
  c.fillText(`INVENTED DATA: simulated, no person (${chest})`, 12, copy.height - 14);
  copy.toBlob(blob => {
    if (!blob) return;
    const link = document.createElement("a");
    link.href = URL.createObjectURL(blob);
    link.download = `bench-${chest}.png`;
    link.click();
    setTimeout(() => URL.revokeObjectURL(link.href), 2000);
  }, "image/png");
}
