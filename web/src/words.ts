// Findings in words for a person, as in the report (src/report/words.c): value in words and units, interval, where it
// comes from. Never a bare dash, and no millimetres without a scale.
import { decimal, t } from "./language";
import { tables } from "./state";
import type { Answer, Clip, Finding, FindingRow, Statement, Zone } from "./types";

export function row(code: string): FindingRow | undefined {
  return tables.value?.findings.find(one => one.key === code);
}
export function zone(key: string | null | undefined): Zone | undefined {
  return tables.value?.zones.find(one => one.key === key);
}
export function zoneName(key: string | null | undefined): string {
  const there = zone(key);
  return there ? t(there.name) : t("no zone yet");
}

const isShare = (info: FindingRow): boolean => info.unit.startsWith("share") && info.key !== "pleura_depth";

function decimals(info: FindingRow): number {
  if (isShare(info)) return 0;
  return info.key === "pleura_depth" || info.key === "a_line_spacing" ? 2 : info.decimals;
}

export function unit(info: FindingRow, value: number | null, faceSeen = true): string {
  switch (info.key) {
    case "b_line_coverage": return t("% of the space");
    case "b_line_count": return t("in one frame");
    case "a_line_count": return value !== null && Math.round(value) === 1 ? t("repeat") : t("repeats");
    case "a_line_spacing": return faceSeen ? t("pleural depths") : t("of the imaged depth");
    case "pleura_depth": return t("of the imaged depth");
    case "score": return t("of 3");
  }
  if (isShare(info)) return info.unit === "share of the beams" ? t("% of the beams") : "%";
  return t(info.unit);
}

export function factor(info: FindingRow): number { return isShare(info) ? 100 : 1; }

export function number(info: FindingRow, value: number): string {
  return decimal((value * factor(info)).toFixed(decimals(info)).replace(/^-(0(\.0*)?)$/, "$1"));
}

export function answerWord(answer: Answer | undefined, told = true): string {
  return !told || !answer || answer === "uncertain" ? t("could not tell") : answer === "present" ? t("seen") : t("none seen");
}

export interface Words { label: string; value: string; small: string; from: string; reason: string }

export function words(finding: Finding): Words {
  const info = row(finding.finding);
  if (!info) return { label: finding.finding, value: String(finding.value ?? t("could not tell")), small: "", from: "", reason: finding.reason };
  let value: string, small = "";
  const [low, high] = finding.interval;
  if (info.kind === "answer") {
    value = answerWord(finding.answer, finding.known);
    if (finding.value !== null) small = `${t("index")} ${decimal(finding.value.toFixed(2))}`;
  } else if (!finding.known || finding.value === null) value = t("could not tell");
  else if (info.kind === "count" && finding.value < 0.5) value = t("none");
  else value = `${number(info, finding.value)} ${unit(info, finding.value)}`.trim();
  if (low !== null && high !== null) {
    const a = number(info, low), b = number(info, high);
    if (a !== b || info.kind === "amount")
      small = `${info.kind === "answer" ? t("index") + " " : ""}${a} ${t("to")} ${b}${isShare(info) ? " %" : info.unit === "mm" ? " mm" : ""}`;
  }
  return { label: t(info.name), value, small, from: whence(finding), reason: t(finding.reason) };
}

/** The frames and seconds of all its evidence. */
export function whence(finding: Finding): string {
  if (!finding.evidence.length) return "";
  let from = Infinity, to = -Infinity, begin: number | null = null, end: number | null = null;
  for (const e of finding.evidence) {
    if (e.frames[0] < from) { from = e.frames[0]; begin = e.times_s[0]; }
    if (e.frames[1] > to) { to = e.frames[1]; end = e.times_s[1]; }
  }
  const frames = from === to ? `${t("frame")} ${from}` : `${t("frames")} ${from} ${t("to")} ${to}`;
  if (begin === null || end === null) return frames;
  return from === to ? `${frames}, ${decimal(begin.toFixed(2))} s` : `${frames}, ${decimal(begin.toFixed(1))} ${t("to")} ${decimal(end.toFixed(1))} s`;
}

export function statementWords(code: string, say: Statement): string {
  const info = row(code);
  if (!info) return "";
  if (say.known === false) return t("could not tell");
  if (info.kind === "answer") return answerWord(say.answer, true);
  if (say.value === null || say.value === undefined) return say.place?.length ? t("marked in the picture") : t("could not tell");
  if (info.kind === "count" && say.value < 0.5) return t("none");
  return `${number(info, say.value)} ${unit(info, say.value)}`.trim();
}

/** What the program found, in the form of a statement: what "agree" enters. */
export function asStatement(finding: Finding): Statement {
  const say: Statement = { known: finding.known, agrees: true };
  if (finding.answer) say.answer = finding.known ? finding.answer : "uncertain";
  if (finding.value !== null) say.value = finding.value;
  if (finding.interval[0] !== null) say.low = finding.interval[0];
  if (finding.interval[1] !== null) say.high = finding.interval[1];
  return say;
}

export function clipWords(clip: Clip): string {
  const parts: string[] = [];
  if (clip.view && clip.view.shape !== "unknown") parts.push(t(clip.view.shape));
  if (clip.frames) parts.push(clip.frames === 1 ? t("one frame") : `${clip.frames} ${t("frames")}` + (clip.duration_s ? ` ${t("in")} ${decimal(clip.duration_s.toFixed(1))} s` : ""));
  const depth = clip.scale?.imaged_depth_mm;
  if (depth) {
    const how: Record<string, string> = { dicom: t("by the file"), stated: t("as stated"), ruler: t("by the ruler in the picture") };
    parts.push(`${decimal((depth / 10).toFixed(1))} cm ${t("deep")} (${how[clip.scale!.source] ?? clip.scale!.source})`);
  } else if (clip.status === "read") parts.push(t("no scale, so no millimetres"));
  return parts.join(" · ");
}

export function finding(clip: Clip, code: string): Finding | undefined {
  return clip.reading?.findings.find(one => one.finding === code);
}

/** Both reads of a clip's score. */
export function scores(clip: Clip, own: Statement | undefined): { program: number | null; clinician: number | null } {
  const program = finding(clip, "score");
  return {
    program: program?.known && program.value !== null ? program.value : null,
    clinician: own && own.known !== false && own.value !== null && own.value !== undefined ? own.value : null,
  };
}
