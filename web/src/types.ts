// What the server sends; the shapes of src/serve and of docs/exam.schema.json.

export interface FindingRow {
  key: string; name: string; unit: string; kind: "answer" | "ordered" | "count" | "amount";
  low: number; high: number; decimals: number; source: string;
}
export interface Zone {
  key: string; name: string; place: string; side: "right" | "left"; from: number; to: number; top: number; bottom: number;
}
export interface Scheme { key: string; name: string; zones: string[] }
export interface Tables {
  findings: FindingRow[]; zones: Zone[]; schemes: Scheme[]; caution: string; limits: string; version: string;
}

export interface ExamLine {
  id: string; name: string; title: string; date: string; person: string; who: string; invented: boolean; clips: number;
  total: { score: number | null; of: number; low: number; high: number; zones: number; zones_scored: number } | null;
}
export interface Place { folder: string; single: boolean; exams: ExamLine[]; version: string }

export interface Evidence {
  label: string | null; frames: [number, number]; times_s: [number | null, number | null];
  beams: [number, number]; depths: [number, number]; line?: [number, number][];
}
export type Answer = "present" | "absent" | "uncertain";
export interface Finding {
  finding: string; kind: string; unit?: string; known: boolean; answer?: Answer; value: number | null;
  interval: [number | null, number | null]; confidence: number | null; reason: string; evidence: Evidence[];
}
export interface Reading { by: string; author: string; method: string; findings: Finding[] }

export interface View {
  shape: "convex" | "linear" | "sector" | "unknown"; width: number; height: number; aspect: number;
  apex_x?: number; apex_y?: number; first_angle_rad?: number; last_angle_rad?: number; near_r?: number; far_r?: number;
  first_x?: number; last_x?: number; near_y?: number; far_y?: number; mirrored?: boolean; borrowed?: boolean; note?: string;
}
export interface Scale { source: string; mm_per_px: number | null; mm_per_px_sd: number | null; imaged_depth_mm: number | null }

export interface Complaint {
  rule: string; complaint: string; grade: string; suspected: boolean; found: string; reason: string; remedy: string; source: string;
}
export interface Rescan { zone: string | null; clip: string | null; rule: string; found: string; remedy: string; score_left_open: number | null }
export interface Synthesis {
  interstitial?: string; symmetry?: string; gravity?: string; not_looked_at?: string; cannot_exclude?: string; no_profile?: string;
  described_with?: { profile: string; pattern: string; described_with: string; complete: boolean; needs: string; source: string }[];
}
export interface Change {
  since: string; scheme: string; zones_compared: number; total: number | null; least_total: number | null; least_zone: number | null; says: string; remarks: string[];
  zones: { zone: string; before: number | null; after: number | null; low: number | null; high: number | null; says: string }[];
}

export interface Volume { name: string; formula: string; reported_error: string; source: string; applies: boolean; why_not: string; ml: number | null; low_ml: number | null; high_ml: number | null }
export interface Volumes { separation_mm: number | null; least_ml: number | null; most_ml: number | null; large: string; formulas: Volume[] }
export interface Clip {
  id: string; clip: string; where: string; zone: string | null; zone_from: string; notes: string; done: boolean;
  status?: "read" | "unreadable" | "failed"; reason?: string; frames?: number; duration_s?: number | null;
  file?: { format: string; width: number; height: number; frame_rate_hz: number | null; times_known: boolean; still: boolean };
  view?: View; scale?: Scale; reading?: Reading | null; shown_frame?: number; cell?: boolean;
  b_line_share?: (number | null)[]; b_line_share_times_s?: (number | null)[]; audit?: Complaint[];
  effusion_volume?: Volumes | null;
}
export interface ZoneScore { zone: string; score: number | null; low: number; high: number; clips: number; from: string | null }
export interface Head {
  title: string; date: string; person: string; question: string; invented: boolean; protocol: string;
  total: { score: number | null; of: number; scored: number; low: number; high: number };
  zones: ZoneScore[]; remarks: string[]; earlier?: string; audit?: { complaints: Complaint[]; rescan: Rescan[] }; synthesis?: Synthesis; change?: Change;
}

export interface Place2 { frame: number; time_s: number | null; beam: number; depth: number }
/** What a clinician says of one finding. */
export interface Statement {
  known?: boolean; answer?: Answer; value?: number | null; low?: number | null; high?: number | null; agrees?: boolean;
  note?: string; place?: Place2[];
}
export interface Entry {
  n: number; at?: string; uid: string; tab: string; seen: number; kind: "find" | "borders" | "zone" | "conclude" | "sign" | "undo" | "redo";
  clip?: string; code?: string; say?: unknown; of?: number; by?: string;
}
export interface Signed { text: string; signer: string; signed_at: string; hash: string; addendum: boolean }
export interface Seal { uid: string; last: number; reports: Signed[]; trouble?: string }
export interface Exam {
  signed?: Seal; id: string; version: number; state: "waiting" | "reading" | "ready" | "failed"; why: string; done: number;
  head: Head | null; clips: Clip[]; says: { last: number; damaged: number; entries: Entry[] };
}

export interface FramesHead {
  width: number; height: number; x0: number; y0: number; step: number; full: { width: number; height: number };
  frames: number; rate_hz: number | null; budget?: number;
  view?: View; figures?: Figure[]; mm_per_px?: number; pleura_mm?: number;
}
export interface Figure { name: string; unit: string; decimals: number; value: number | null }
export interface Knob { path: string; type: "real" | "int" | "bool" | "choice"; low: number; high: number; names: string[]; meaning: string }
export interface BenchChest {
  name: string; title: string; note: string; frames: number; values: Record<string, number | boolean | string>;
}
export interface Task { key: string; chest: string; zone: string; ask: string; set: Record<string, number | boolean | string> }
export interface Judged { solved: boolean; gone: Complaint[]; left: Complaint[]; new: Complaint[]; changed: number }
export interface Bench { chests: BenchChest[]; controls: Knob[]; tasks: Task[] }

// ---- second readers and learners ----
export interface ListLine { name: string; reader: string; sitting: number; clips: number; answered: number; of: number; handed_in: boolean }
export interface ReadersOverview { lists: ListLine[]; reads: string[]; me: string }
export interface BlindClip { code: string; view?: View; scale?: Scale; frames?: number; duration_s?: number | null }
export interface BlindList {
  name: string; reader: string; sitting: number; findings: string[]; clips: BlindClip[]; answers: Record<string, Record<string, string>>; handed_in: boolean;
}
export interface AgreementRow {
  finding: string; who: string; measure: string; name: string; clips: number; percent: boolean; value: number | null; low: number | null; high: number | null;
  person_low: number | null; person_high: number | null; why?: string;
}
export interface Pair { finding: string; a: string; b: string; points: [number, number][] }
export interface Said { word: string; known: boolean; answer: Answer; value: number | null; reader?: string; by?: string; why?: string; when?: string }
export interface Difference { id: string; clip: string; finding: string; says: Said[]; settled: Said | null; view?: View; scale?: Scale; frames?: number; duration_s?: number | null }
export interface Agreement {
  clips: number; readers: { reader: string; sitting: number; clips: number }[]; rows: AgreementRow[]; pairs: Pair[]; differences: Difference[]; remarks: string[];
}
export interface LearnersOverview { learners: { name: string; sessions: number; answers: number }[]; agreed: boolean; me: string }
export interface Marked { finding: string; said: string; truth: string; right: boolean; first: boolean }
export interface LessonClip {
  view?: View; scale?: Scale; frames?: number; duration_s?: number | null; asked: string[]; answers: Marked[]; done: boolean; invented: boolean; truth?: Reading;
}
export interface Lesson { number: number; findings: string[]; clips: LessonClip[] }
export interface Curve {
  finding: string; attempts: number; right: number; share: [number | null, number | null, number | null]; chart_now: number | null;
  plan: { p0: number; p1: number; n: number; limit: number | null; false_discovery: number; power: number; over: number; source: string };
  adequate_at_attempt: number | null; warned_at_attempt: number | null; fewest_more: number; median_more: number | null; success: number[]; chart: number[];
  errors: { yes: number; missed: number; no: number; false_alarms: number; high: number; low: number };
}
export interface Learner { sessions: { number: number; clips: number; done: number; pool: string }[]; curves: Curve[]; next: string }

// ---- what arrived by DICOM ----
export interface Arrived { studies: { id: string; clips: number; bytes: number; newest: string }[] }

// ---- what is planned, by a worklist ----
export interface Planned {
  may: boolean; more: boolean;
  planned: { key: string; name: string; patient: string; born: string; procedure: string; accession: string; date: string; time: string; station: string }[];
}

// ---- what the store keeps ----
export interface Kept { uid: string; person: string; title: string; date: string; invented: boolean; clips: number; signed: boolean; here: string }

/** What of an examination was sent, waits or was refused (api/exams/ID/sending). */
export interface SendItem { item: number; state: "waits" | "sent" | "refused"; file: string; destination: string; tries: number; queued: string; done: string; next: string; why: string }
export interface SendState { may: boolean; destinations: { name: string; kind: string; safe: boolean }[]; items: SendItem[] }
