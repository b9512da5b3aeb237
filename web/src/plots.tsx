// Plots of agreement and learning, drawn from the figures that src/agree works out: every mark has its words beside it, so
// that nothing is told by a picture alone.
import { t, decimal } from "./language";
import type { AgreementRow, Curve, FindingRow, Pair } from "./types";
import { answerWord, factor, row } from "./words";

const scaleOf = (from: number, to: number, left: number, right: number) => (v: number): number => left + (v - from) / (to - from) * (right - left);

export function figure(one: AgreementRow): string {
  if (one.value === null) return `${t("not defined")}: ${t(one.why ?? "")}`;
  const f = (v: number): string => one.percent ? `${(v * 100).toFixed(0)}` : decimal(v.toFixed(2));
  const low = one.low ?? one.person_low, high = one.high ?? one.person_high;
  return `${f(one.value)}${one.percent ? " %" : ""}${low !== null && high !== null ? ` (${f(low)} ${t("to")} ${f(high)}${one.percent ? " %" : ""})` : ""}`;
}

/** The measure that stands for a finding where one is enough. */
export function headline(info: FindingRow, who: string, rows: AgreementRow[]): AgreementRow | undefined {
  const key = info.kind === "answer" ? "kappa" : info.kind === "ordered" ? "kappa_quadratic" : "concordance";
  const mine = rows.filter(one => one.finding === info.key && one.who === who);
  return mine.find(one => one.measure === key) ?? mine.find(one => one.measure === "alpha");
}

/** One line a pair of readers: the value and its interval between -1 (against each other) and 1 (the same). */
export function Chances({ info, rows }: { info: FindingRow; rows: AgreementRow[] }) {
  const who = [...new Set(rows.filter(one => one.finding === info.key).map(one => one.who))];
  const x = scaleOf(-1, 1, 4, 236);
  return <ul class="chances">{who.map(name => {
    const one = headline(info, name, rows);
    if (!one) return null;
    const low = one.low ?? one.person_low, high = one.high ?? one.person_high;
    return <li key={name}><span class="chances-who">{t(name)}</span>
      <svg viewBox="0 0 240 22" width="240" height="22" aria-hidden="true">
        {[-1, -0.5, 0, 0.5, 1].map(v => <line key={v} class={v === 0 ? "axis-zero" : "axis-line"} x1={x(v)} x2={x(v)} y1={2} y2={20} />)}
        {low !== null && high !== null && <line class="spread" x1={x(Math.max(-1, low))} x2={x(Math.min(1, high))} y1={11} y2={11} />}
        {one.value !== null && <rect class="value-mark" x={x(Math.max(-1, one.value)) - 4} y={7} width={8} height={8} transform={`rotate(45 ${x(Math.max(-1, one.value))} 11)`} />}
      </svg>
      <span class="chances-words"><b>{figure(one)}</b> <small>{t(one.name)}, {one.clips} {t("clips")}</small></span></li>;
  })}</ul>;
}

/** What two readers said of the same clips: squares as large as how often, on the diagonal where they agree. */
export function CrossTable({ info, pair }: { info: FindingRow; pair: Pair }) {
  const values = info.kind === "answer" ? [0, 1] : Array.from({ length: info.high - info.low + 1 }, (_, i) => info.low + i);
  const count = (a: number, b: number): number => pair.points.filter(p => p[0] === a && p[1] === b).length;
  const most = Math.max(1, ...values.flatMap(a => values.map(b => count(a, b))));
  const name = (v: number): string => info.kind === "answer" ? answerWord(v ? "present" : "absent") : String(v);
  return <table class="cross"><caption>{pair.a} ↓ · {pair.b} →</caption>
    <thead><tr><td />{values.map(v => <th scope="col" key={v}>{name(v)}</th>)}</tr></thead>
    <tbody>{values.map(a => <tr key={a}><th scope="row">{name(a)}</th>{values.map(b => {
      const n = count(a, b), side = 26 * Math.sqrt(n / most);
      return <td key={b} class={a === b ? "cross-same" : ""}><svg viewBox="0 0 34 34" width="34" height="34" aria-hidden="true"><rect x={17 - side / 2} y={17 - side / 2} width={side} height={side} class={a === b ? "square-same" : "square-apart"} /></svg><span>{n}</span></td>;
    })}</tr>)}</tbody></table>;
}

/** Difference against mean, with the limits between which 95 of 100 differences lie. */
export function Apart({ info, pair, rows }: { info: FindingRow; pair: Pair; rows: AgreementRow[] }) {
  const k = factor(info); // shares are told in per cent
  const of = (measure: string): number | null => { const v = rows.find(one => one.finding === info.key && one.who === `${pair.a} and ${pair.b}` && one.measure === measure)?.value; return v === null || v === undefined ? null : v * k; };
  const points = pair.points.map(([a, b]) => ({ mean: (a + b) / 2 * k, apart: (a - b) * k }));
  const bias = of("bias"), lower = of("lower_limit"), upper = of("upper_limit");
  const ys = [0, ...points.map(p => p.apart), ...[bias, lower, upper].filter((v): v is number => v !== null)], xs = points.map(p => p.mean);
  const pad = (a: number): number => a || 1;
  const low = Math.min(...ys), high = Math.max(...ys), span = pad(high - low), x0 = Math.min(...xs), x1 = Math.max(...xs), width = pad(x1 - x0);
  const x = scaleOf(x0 - width * 0.08, x1 + width * 0.08, 46, 300), y = scaleOf(low - span * 0.12, high + span * 0.12, 140, 8);
  const unitWord = k > 1 ? " %" : info.unit && info.kind === "amount" && !info.unit.startsWith("share") ? ` ${t(info.unit)}` : "", f = (v: number): string => decimal(v.toFixed(k > 1 ? 2 : info.kind === "count" ? 1 : Math.max(1, info.decimals)));
  return <figure class="apart"><figcaption>{pair.a} − {pair.b}{bias !== null ? <>: {t("on average")} {f(bias)}{unitWord}{lower !== null && upper !== null ? <>, {t("95 of 100 between")} {f(lower)} {t("and")} {f(upper)}{unitWord}</> : null}</> : null}</figcaption>
    <svg viewBox="0 0 310 162" role="img" aria-label={`${t(info.name)}: ${t("difference against mean")}, ${pair.points.length} ${t("clips")}`}>
      <line class="axis-zero" x1={46} x2={304} y1={y(0)} y2={y(0)} />
      {lower !== null && upper !== null && <rect class="limits" x={46} width={258} y={y(upper)} height={Math.max(0, y(lower) - y(upper))} />}
      {bias !== null && <line class="bias" x1={46} x2={304} y1={y(bias)} y2={y(bias)} />}
      {points.map((p, i) => <circle key={i} class="point" cx={x(p.mean)} cy={y(p.apart)} r={3.2} />)}
      <text class="tick" x={40} y={y(low) + 3} text-anchor="end">{f(low)}</text><text class="tick" x={40} y={y(high) + 3} text-anchor="end">{f(high)}</text>
      <text class="tick" x={x(x0)} y={156} text-anchor="middle">{f(x0)}</text>{x1 > x0 && <text class="tick" x={x(x1)} y={156} text-anchor="middle">{f(x1)}</text>}
    </svg></figure>;
}

/** The chart of a learner: it climbs with what is right and falls with what is wrong; above the limit it says "adequate". */
export function CurvePlot({ curve }: { curve: Curve }) {
  const n = Math.max(20, curve.chart.length + 2), limit = curve.plan.limit, top = Math.max(limit ?? 1, ...curve.chart) * 1.15;
  const x = scaleOf(0, n, 30, 470), y = scaleOf(0, top, 118, 8), info = row(curve.finding);
  const path = curve.chart.map((v, i) => `${x(i + 1).toFixed(1)} ${y(v).toFixed(1)}`).join("L");
  return <svg class="curve" viewBox="0 0 480 150" role="img" aria-label={`${t(info?.name ?? "")}: ${t("chart after each clip")}`}>
    {limit !== null && <><line class="limit" x1={30} x2={470} y1={y(limit)} y2={y(limit)} /><text class="tick" x={470} y={y(limit) - 4} text-anchor="end">{t("limit")} {decimal(limit.toFixed(2))}</text></>}
    <line class="axis-line" x1={30} x2={470} y1={y(0)} y2={y(0)} />
    {curve.chart.length > 0 && <path class="curve-line" d={`M${x(0)} ${y(0)}L${path}`} />}
    {curve.success.map((right, i) => right ? <line key={i} class="hit" x1={x(i + 1)} x2={x(i + 1)} y1={124} y2={132} /> : <path key={i} class="miss" d={`M${x(i + 1) - 3.4} ${124.6}l6.8 6.8m0 -6.8l-6.8 6.8`} />)}
    <text class="tick" x={30} y={144}>{t("bar: right, cross: not")}</text><text class="tick" x={470} y={144} text-anchor="end">{curve.success.length} {t("clips at first sight")}</text>
  </svg>;
}
