// The settings planner as a picture: for each rule set one column of depth, drawn to one scale, with the wall, the
// target, the focus, the beam's width and how far the sound reaches.
import { useEffect, useState } from "preact/hooks";
import { get } from "./api";
import { decimal, t } from "./language";
import { trouble } from "./state";

interface Setting {
  probe: string; depth_mm: number; needed_mm: number; freq_mhz: number; focus_mm: number; lateral_pleura_mm: number; lateral_focus_mm: number;
  lateral_far_mm: number; penetration_mm: number; frame_rate_most_hz: number; axial_mm: number; reaches: boolean; fits: boolean; focal_zone_mm: number;
}
interface Line { topic: string; choice: string; formula: string; source: string; otherwise: string }
interface Plan {
  target: string; zone: string; wall_mm: number; extent_mm: number; setting: Setting; lines: Line[];
  alternatives: (Setting & { rules: string; chosen: boolean; depth_source: string; focus_source: string })[]; notes: string[];
}

const targets = ["pleura", "a-lines", "b-lines", "consolidation", "effusion", "excursion", "thickness", "spine"];
const targetNames: Record<string, string> = {
  pleura: "pleural line and sliding", "a-lines": "A-lines", "b-lines": "B-lines", consolidation: "consolidation", effusion: "pleural effusion",
  excursion: "excursion of the diaphragm", thickness: "thickness of the diaphragm", spine: "spine above the diaphragm",
};
const ruleNames: Record<string, string> = { consensus: "shallow, focus on the pleura", practice: "deeper, the structure mid-screen", least: "the least depth that holds the target" };

export function PlanSheet() {
  const [ask, setAsk] = useState({ target: "b-lines", place: "", rules: "consensus", probe: "", wall_mm: "20", harmonics: "" });
  const [plan, setPlan] = useState<Plan | null>(null), [why, setWhy] = useState("");
  useEffect(() => {
    const control = new AbortController();
    const query = new URLSearchParams(Object.entries(ask).filter(([, value]) => value !== "")).toString();
    get<Plan>(`api/plan?${query}`, control.signal).then(got => { setPlan(got); setWhy(""); }).catch((cause: unknown) => {
      if (control.signal.aborted) return;
      if (cause instanceof Error) setWhy(cause.message); else trouble(cause);
    });
    return () => control.abort();
  }, [ask]);
  const set = (key: keyof typeof ask) => (event: Event): void => setAsk({ ...ask, [key]: (event.target as HTMLSelectElement).value });
  return <div class="plan">
    <div class="plan-ask">
      <h1>{t("Plan")}</h1>
      <p class="quiet">{t("How to set the machine, and why.")}</p>
      <label>{t("looking for")}<select value={ask.target} onChange={set("target")}>{targets.map(one => <option key={one} value={one}>{t(targetNames[one]!)}</option>)}</select></label>
      <label>{t("at")}<select value={ask.place} onChange={set("place")}><option value="">{t("the usual place")}</option>{["anterior", "lateral", "posterolateral", "subcostal"].map(one => <option key={one} value={one}>{t(one)}</option>)}</select></label>
      <label>{t("probe")}<select value={ask.probe} onChange={set("probe")}><option value="">{t("choose for me")}</option>{["convex", "microconvex", "linear", "phased"].map(one => <option key={one} value={one}>{t(one)}</option>)}</select></label>
      <label>{t("rules")}<select value={ask.rules} onChange={set("rules")}>{Object.entries(ruleNames).map(([key, name]) => <option key={key} value={key}>{t(name)}</option>)}</select></label>
      <label>{t("skin to pleura")} <output>{ask.wall_mm} mm</output><input type="range" min={8} max={80} step={1} value={ask.wall_mm} onInput={set("wall_mm")} /></label>
      <label class="tick"><input type="checkbox" checked={ask.harmonics === "1"} onChange={e => setAsk({ ...ask, harmonics: (e.target as HTMLInputElement).checked ? "1" : "" })} /> {t("harmonics")}</label>
      {why && <p class="asks" role="alert">{why}</p>}
    </div>
    {plan && <>
      <DepthPicture plan={plan} />
      <section class="plan-lines" aria-label={t("The plan")}>
        <dl>{plan.lines.map(line => <div key={line.topic}>
          <dt>{t(line.topic)}</dt>
          <dd><details><summary><span class="value">{decimal(t(line.choice))}</span> <small>{t("why")}</small></summary><p>{decimal(t(line.formula))}</p><p class="quiet">{t(line.source)}</p>{line.otherwise && <p>{t("otherwise")}: {decimal(t(line.otherwise))}</p>}</details></dd>
        </div>)}</dl>
        {plan.notes.length > 0 && <><h2>{t("To bear in mind")}</h2><ul>{plan.notes.map(one => <li key={one}>{t(one)}</li>)}</ul></>}
      </section>
    </>}
  </div>;
}

function DepthPicture({ plan }: { plan: Plan }) {
  const all = plan.alternatives, deepest = Math.max(...all.map(one => Math.max(one.depth_mm, Math.min(one.penetration_mm, one.depth_mm * 1.25))), plan.setting.needed_mm) * 1.06;
  const width = 640, height = 520, top = 34, foot = 26, scale = (height - top - foot) / deepest, y = (mm: number): number => top + mm * scale;
  const column = (width - 60) / all.length;
  const words = all.map(one => `${t(ruleNames[one.rules] ?? one.rules)}: ${t("depth")} ${one.depth_mm.toFixed(0)} mm, ${t("focus")} ${one.focus_mm.toFixed(0)} mm, ${one.freq_mhz.toFixed(1)} MHz`).join("; ");
  const ticks = Array.from({ length: Math.floor(deepest / 10) + 1 }, (_, i) => i * 10);
  return <figure class="plan-picture">
    <svg viewBox={`0 0 ${width} ${height}`} role="img" aria-label={words}>
      <defs><pattern id="beyond" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><path class="hatch-line" d="M0 0V7" /></pattern></defs>
      {ticks.map(mm => <g key={mm}><path class="grid" d={`M46 ${y(mm)}H${width - 8}`} />{mm % 20 === 0 && <text class="tick-word" x={40} y={y(mm) + 4} text-anchor="end">{mm}</text>}</g>)}
      <text class="tick-word" x={40} y={height - 6} text-anchor="end">mm</text>
      {all.map((one, i) => {
        const x = 54 + i * column, w = column - 18, m = x + w / 2, wide = (mm: number): number => mm * scale * 5;
        const points: [number, number][] = [[2, one.lateral_pleura_mm * 1.6], [plan.wall_mm, one.lateral_pleura_mm], [one.focus_mm, one.lateral_focus_mm], [one.needed_mm, one.lateral_far_mm]]
          .filter(([at]) => at! <= one.depth_mm + 0.1).sort((a, b) => a[0]! - b[0]!) as [number, number][];
        const side = (sign: number): string => points.map(([at, mm]) => `${(m + sign * wide(mm) / 2).toFixed(1)} ${y(at).toFixed(1)}`).join("L");
        return <g key={one.rules} class={one.chosen ? "chosen" : "other"}>
          <rect class="wall" x={x} y={y(0)} width={w} height={plan.wall_mm * scale} />
          <rect class="target" x={x} y={y(plan.wall_mm)} width={w} height={Math.max(0, Math.min(one.needed_mm, one.depth_mm) - plan.wall_mm) * scale} />
          {one.penetration_mm < one.depth_mm && <rect class="beyond" x={x} y={y(one.penetration_mm)} width={w} height={(one.depth_mm - one.penetration_mm) * scale} />}
          <path class="beam" d={`M${side(-1)}L${side(1).split("L").reverse().join("L")}Z`} />
          <path class="pleura" d={`M${x} ${y(plan.wall_mm)}h${w}`} />
          <rect class="frame" x={x} y={y(0)} width={w} height={one.depth_mm * scale} />
          <path class="focus" d={`M${x - 5} ${y(one.focus_mm)}l-7 -5v10zM${x + w + 5} ${y(one.focus_mm)}l7 -5v10z`} />
          <text class="column-word" x={m} y={18} text-anchor="middle">{t(one.rules)}{one.chosen ? ` · ${t("chosen")}` : ""}</text>
          <text class="in-word" x={x + 6} y={y(one.depth_mm) - 6}>{one.depth_mm.toFixed(0)} mm · {one.freq_mhz.toFixed(1)} MHz · {one.frame_rate_most_hz.toFixed(0)}/s</text>
        </g>;
      })}
    </svg>
    <figcaption class="quiet">{t("Sand: the chest wall. Bright line: the pleura. Water: where the target may lie. Pale spindle: the beam, five times too wide. Pointers: the focus. Hatched: where the sound no longer reaches. Frame: the depth of the picture.")}</figcaption>
  </figure>;
}
