// The clip over time: the tide line, the motion trace on the same axis, where findings were seen, and the cursor.
import { useEffect, useRef } from "preact/hooks";
import uPlot from "uplot";
import { Borders } from "./borders";
import { follow } from "./dragging";
import { decimal, language, t } from "./language";
import { colour } from "./marks";
import type { Player } from "./player";
import { theme } from "./state";
import { Trace, TraceWords } from "./trace";
import type { Clip, Finding } from "./types";
import { row } from "./words";

export function TimeSheet({ clip, player }: { clip: Clip; player: Player }) {
  const axis = useRef<HTMLDivElement>(null), now = useRef<HTMLDivElement>(null), spoken = useRef<HTMLSpanElement>(null);
  useEffect(() => {
    const place = (): void => {
      const d = player.frames.duration, share = d ? player.seconds / d : 0;
      now.current!.style.transform = `translateX(${(share * axis.current!.clientWidth).toFixed(1)}px)`;
      const text = timeWords(player);
      if (spoken.current!.textContent !== text) spoken.current!.textContent = text;
      axis.current!.setAttribute("aria-valuenow", String(player.position));
      axis.current!.setAttribute("aria-valuemax", String(Math.max(0, player.count - 1)));
      axis.current!.setAttribute("aria-valuetext", text);
    };
    place();
    const off = player.on(place), watcher = new ResizeObserver(place);
    watcher.observe(axis.current!);
    return () => { off(); watcher.disconnect(); };
  }, [player, language.value]);
  const down = (event: PointerEvent): void => {
    if (event.button) return;
    const target = event.currentTarget as HTMLElement;
    const to = (e: PointerEvent): void => {
      const rect = target.getBoundingClientRect();
      player.showTime((e.clientX - rect.left) / rect.width * player.frames.duration);
    };
    player.pause();
    to(event);
    follow(event, to);
  };
  const spans = (clip.reading?.findings ?? []).filter(one => one.evidence.length && one.finding !== "pleura_depth_mm").reduce<Finding[]>((kept, one) => {
    const key = JSON.stringify(one.evidence.map(e => e.frames));
    return kept.some(other => JSON.stringify(other.evidence.map(e => e.frames)) === key && other.evidence[0]!.label === one.evidence[0]!.label) ? kept : [...kept, one];
  }, []).slice(0, 6);
  return <section class="time" aria-label={t("The clip over time")}>
    <div class="time-words"><span class="quiet">{t("share of the space that is white, frame by frame; below it the motion trace along the line")}</span><span class="time-now" ref={spoken} /></div>
    <div class="axis" ref={axis} role="slider" tabIndex={0} aria-label={t("time in the clip")} aria-valuemin={0} aria-valuenow={0} aria-valuemax={0} onPointerDown={down}>
      <Tide clip={clip} player={player} />
      <Trace clip={clip} player={player} />
      <div class="spans">{spans.map(one => <Span key={one.finding} finding={one} player={player} />)}</div>
      <div class="now" ref={now} />
    </div>
    <TraceWords clip={clip} />
    <Borders clip={clip} player={player} />
  </section>;
}

export function timeWords(player: Player): string {
  const frame = `${t("frame")} ${player.index} ${t("of")} ${player.count}`;
  return player.frames.timesKnown ? `${decimal(player.seconds.toFixed(2))} s · ${frame}` : frame;
}

function Span({ finding, player }: { finding: Finding; player: Player }) {
  const box = useRef<HTMLDivElement>(null);
  useEffect(() => {
    const place = (): void => {
      const f = player.frames, n = f.pictures.length;
      if (!n) return;
      box.current!.querySelectorAll<HTMLElement>("i").forEach((mark, i) => {
        const e = finding.evidence[i]!, a = f.ofIndex(e.frames[0]), b = f.ofIndex(e.frames[1]);
        const from = f.times[a]! / f.duration, to = (f.times[b + 1] ?? f.duration) / f.duration;
        mark.style.left = `${from * 100}%`;
        mark.style.width = `${Math.max(0.4, (to - from) * 100)}%`;
      });
    };
    place();
    return player.frames.on(place);
  }, [finding, player]);
  const label = finding.evidence[0]!.label && finding.evidence.length === 1 ? finding.evidence[0]!.label : row(finding.finding)?.name ?? finding.finding;
  return <div class="span" ref={box}><small>{t(label)}</small><div>{finding.evidence.map((_, i) => <i key={i} />)}</div></div>;
}

function Tide({ clip, player }: { clip: Clip; player: Player }) {
  const box = useRef<HTMLDivElement>(null);
  const look = theme.value, tongue = language.value;
  useEffect(() => {
    const room = box.current!, shares = clip.b_line_share ?? [];
    if (shares.length < 2) return;
    let plot: uPlot | null = null;
    const top = Math.max(25, Math.ceil(Math.max(...shares.map(one => one ?? 0)) * 115 / 25) * 25);
    const make = (): void => {
      plot?.destroy();
      const timed = (clip.b_line_share_times_s ?? []).every(one => one !== null);
      const times = shares.map((_, i) => timed ? clip.b_line_share_times_s![i]! : i);
      const style = getComputedStyle(document.documentElement);
      const ink = style.getPropertyValue("--quiet").trim(), rule = style.getPropertyValue("--rule").trim();
      plot = new uPlot({
        width: room.clientWidth, height: room.clientHeight, padding: [6, 0, 0, 0], legend: { show: false },
        cursor: { show: false }, select: { show: false, left: 0, top: 0, width: 0, height: 0 },
        scales: { x: { time: false, range: () => [0, player.frames.duration || times.at(-1)!] }, y: { range: () => [0, top] } },
        axes: [
          { stroke: ink, grid: { stroke: rule, width: 1 }, ticks: { show: false }, size: 22, gap: 2, space: 90, font: "11px DejaVu Sans",
            values: (_, all) => all.map(v => v === 0 || v > 0.97 * (player.frames.duration || times.at(-1)!) ? "" : timed ? `${v} s` : String(v)) },
          { stroke: ink, show: true, size: 0, gap: -34, grid: { stroke: rule, width: 1 }, ticks: { show: false }, font: "11px DejaVu Sans",
            splits: () => [top], values: () => [`${top} %`] },
        ],
        series: [{}, { stroke: colour("--colour-tide-line-shown"), fill: colour("--colour-tide-fill-shown"), width: 1.4, points: { show: false }, spanGaps: false }],
      }, [times, shares.map(one => one === null ? null : one * 100)], room);
    };
    make();
    const watcher = new ResizeObserver(make);
    watcher.observe(room);
    let had = player.frames.duration;
    const off = player.frames.on(() => { if (player.frames.complete && had !== player.frames.duration) { had = player.frames.duration; make(); } });
    return () => { off(); watcher.disconnect(); plot?.destroy(); };
  }, [clip, player, look, tongue]);
  const most = Math.max(0, ...(clip.b_line_share ?? []).map(one => one ?? 0));
  return <div class="tide" ref={box} role="img"
    aria-label={`${t("Share of the space taken by B-lines over the clip; most")} ${(most * 100).toFixed(0)} %`}>
    {(clip.b_line_share ?? []).length < 2 && <p class="quiet">{t("No tide line: it could not be told over time.")}</p>}</div>;
}
