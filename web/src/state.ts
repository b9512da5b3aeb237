// What the page knows, as signals. The examination comes from the server and is asked for again whenever it changes
// there; what the clinician enters goes into a queue that survives a lost connection and a closed tab (localStorage),
// and counts as entered at once.
import { batch, computed, signal } from "@preact/signals";
import { get, post, Trouble } from "./api";
import type { Clip, Entry, Exam, Place, Statement, Tables } from "./types";

export type Sheet = "list" | "chest" | "clip" | "report" | "bench" | "plan" | "readers" | "learn" | "users";
/** `at`: what follows on the sheets that belong to no examination: a list, a learner, a session. */
export interface Route { sheet: Sheet; exam: string; clip: string; at: string[] }

export const route = signal<Route>(readRoute());
export const tables = signal<Tables | null>(null);
export const place = signal<Place | null>(null);
/** Who it is: by the worklist, where it said so and the user may know, else the pseudonym. */
export const whoIs = (id: string, person: string | undefined): string => place.value?.exams.find(one => one.id === id)?.who || person || "";
export const exam = signal<Exam | null>(null);
/** Sentences to show, newest last. */
export const sentences = signal<string[]>([]);
export const lost = signal(false);
/** The session ended; what was entered waits in this browser. */
export const signedOut = signal(false);
/** Who signed in: what waits in this browser is theirs alone. */
export const owner = signal("");
export const queue = signal<Entry[]>([]);
export const bringing = signal<{ name: string; share: number; trouble?: string }[]>([]);
export const theme = signal<"auto" | "light" | "dark">(stored("theme", "auto"));
export const marksOn = signal(true);
export const helpOpen = signal(false);

function stored<T extends string>(key: string, otherwise: T): T {
  try { return (localStorage.getItem("strandline-" + key) as T | null) ?? otherwise; } catch { return otherwise; }
}
export function store(key: string, value: string): void {
  try { localStorage.setItem("strandline-" + key, value); } catch { /* private window: works without */ }
}

export function say(sentence: string): void {
  if (sentences.value.at(-1) !== sentence) sentences.value = [...sentences.value.slice(-2), sentence];
}
export function trouble(cause: unknown): void {
  say(cause instanceof Error ? cause.message : String(cause));
}

// ---- where one is ----

function readRoute(): Route {
  const [sheet = "", a = "", b = ""] = location.hash.replace(/^#\/?/, "").split("/");
  if (sheet === "bench" || sheet === "plan" || sheet === "users" || sheet === "readers" || sheet === "learn") return { sheet, exam: "", clip: "", at: [a, b].filter(Boolean) };
  if (sheet === "exam" && a) return { sheet: b === "report" ? "report" : b ? "clip" : "chest", exam: a, clip: b === "report" ? "" : b, at: [] };
  return { sheet: "list", exam: "", clip: "", at: [] };
}
addEventListener("hashchange", () => { route.value = readRoute(); sentences.value = []; });

export function go(sheet: Sheet, examId = "", clip = ""): void {
  location.hash = sheet === "list" ? "/" : sheet === "bench" || sheet === "plan" || sheet === "users" || sheet === "readers" || sheet === "learn" ? `/${[sheet, examId, clip].filter(Boolean).join("/")}`
    : `/exam/${examId}${sheet === "clip" ? "/" + clip : sheet === "report" ? "/report" : ""}`;
}

// ---- the examination ----

let watched = "", stop: AbortController | null = null;

/** Opens an examination and keeps up with it. */
export function watch(id: string): void {
  if (id === watched) return;
  stop?.abort();
  watched = id;
  if (!id) { exam.value = null; return; }
  exam.value = null;
  queue.value = readQueue(id);
  const control = stop = new AbortController();
  void (async () => {
    let pause = 250;
    for (let after = -1; !control.signal.aborted;) {
      try {
        const got = await get<Exam>(`api/exams/${id}${after >= 0 ? `?after=${after}` : ""}`, control.signal);
        if (control.signal.aborted) return;
        batch(() => { exam.value = got; lost.value = false; });
        after = got.version;
        pause = 250;
        void flush();
        if (got.state === "reading") await new Promise(resolve => setTimeout(resolve, 120)); // several clips at a time
      } catch (cause) {
        if (control.signal.aborted) return;
        if (cause instanceof Trouble && cause.status === 401) { signedOut.value = true; return; }
        if (cause instanceof Trouble && cause.lost) lost.value = true;
        else { trouble(cause); return; }
        await new Promise(resolve => setTimeout(resolve, pause));
        pause = Math.min(pause * 2, 8000);
        after = -1;
      }
    }
  })();
}

export const clips = computed<Clip[]>(() => {
  const open = exam.value;
  if (!open) return [];
  return open.clips.map(clip => {
    const set = stands("zone", clip.where);
    return set ? { ...clip, zone: String(set.say) || null, zone_from: "clinician" } : clip;
  });
});

// ---- what the clinician says ----

/** Where something waits in this browser: a place for each who signs in. */
export const waitingKey = (name: string): string => owner.value ? `${name}-${owner.value}` : name;

/** Whether what could not be sent stays to be sent: the session ended, the server does not answer or is asked too much. */
export function staysWaiting(cause: unknown): boolean {
  if (!(cause instanceof Trouble)) return false;
  if (cause.status === 401) signedOut.value = true; // until one signs in again
  else if (cause.lost || cause.status === 429) lost.value = true;
  else return false;
  return true;
}

const tab = Math.random().toString(36).slice(2, 10);
const queueKey = (id: string): string => waitingKey(`queue-${id}`);

function readQueue(id: string): Entry[] {
  try { return JSON.parse(stored(queueKey(id), "[]")) as Entry[]; } catch { return []; }
}

/** Entries of the journal and of the queue, the queue last. */
export const entries = computed<Entry[]>(() => {
  const kept = exam.value?.says.entries ?? [];
  const known = new Set(kept.map(entry => entry.uid));
  const rest = queue.value.filter(entry => !known.has(entry.uid));
  return [...kept, ...rest.map((entry, i) => ({ ...entry, n: kept.length + 1 + i }))];
});

const undone = computed<Set<number>>(() => {
  const gone = new Set<number>();
  for (const entry of entries.value)
    if (entry.kind === "undo" && entry.of) gone.add(entry.of);
    else if (entry.kind === "redo" && entry.of) gone.delete(entry.of);
  return gone;
});

const keyOf = (kind: string, clip = "", code = ""): string => `${kind}\n${clip}\n${code}`;

/** Statements that stand, by question; more than one when two tabs did not know of each other. */
export const standing = computed<Map<string, Entry[]>>(() => {
  const map = new Map<string, Entry[]>();
  for (const entry of entries.value) {
    if (entry.kind === "undo" || entry.kind === "redo" || undone.value.has(entry.n)) continue;
    const key = keyOf(entry.kind, entry.clip, entry.code);
    const rivals = (map.get(key) ?? []).filter(other => other.n > entry.seen && other.tab !== entry.tab);
    if (entry.say !== null) rivals.push(entry);
    map.set(key, rivals);
  }
  return map;
});

export function rivals(kind: string, clip = "", code = ""): Entry[] {
  return standing.value.get(keyOf(kind, clip, code)) ?? [];
}
export function stands(kind: string, clip = "", code = ""): Entry | undefined {
  return rivals(kind, clip, code).at(-1);
}
/** What borders set by hand say, by clip's id and code (border_hand.ts): the clinician's where the same was not stated. */
export const placed = signal<Map<string, Statement>>(new Map());
export function statement(clip: string, code: string): Statement | undefined {
  const said = stands("find", clip, code)?.say as Statement | undefined;
  return said ?? (placed.value.size ? placed.value.get(`${clips.value.find(one => one.where === clip)?.id ?? ""}\n${code}`) : undefined);
}

function enqueue(part: Pick<Entry, "kind"> & Partial<Entry>): void {
  const id = exam.value?.id;
  if (!id) return;
  const entry: Entry = {
    n: 0, uid: crypto.randomUUID?.() ?? tab + Date.now().toString(36) + Math.random().toString(36).slice(2), tab,
    seen: exam.value?.says.last ?? 0, ...part,
  };
  queue.value = [...queue.value, entry];
  store(queueKey(id), JSON.stringify(queue.value));
  void flush();
}

let flushing = false;
async function flush(): Promise<void> {
  const id = exam.value?.id;
  if (flushing || !id || !queue.value.length) return;
  flushing = true;
  const sent = queue.value.slice(0, 50);
  const drop = (): void => {
    const uids = new Set(sent.map(entry => entry.uid));
    queue.value = queue.value.filter(entry => !uids.has(entry.uid));
    store(queueKey(id), JSON.stringify(queue.value));
  };
  try {
    const got = await post<Exam>(`api/exams/${id}/says`, sent);
    batch(() => {
      if (exam.value?.id === id && got.version >= exam.value.version) exam.value = got;
      drop();
      lost.value = false;
    });
  } catch (cause) {
    if (!staysWaiting(cause)) { drop(); trouble(cause); } // refused for good: said, not tried for ever
    else if (!signedOut.value) setTimeout(() => void flush(), 1500);
  }
  flushing = false;
  if (queue.value.length && !lost.value && !signedOut.value) void flush();
}

export function state(clip: string, code: string, statement: Statement | null): void {
  enqueue({ kind: "find", clip, code, say: statement });
}
export function setBorders(clip: string, code: string, hand: object | null): void {
  enqueue({ kind: "borders", clip, code, say: hand });
}
export function setZone(clip: string, zone: string): void {
  enqueue({ kind: "zone", clip, say: zone });
}
export function conclude(text: string): void { enqueue({ kind: "conclude", say: text }); }

export function undo(): boolean {
  const last = entries.value.filter(e => e.kind !== "undo" && e.kind !== "redo" && !undone.value.has(e.n)).at(-1);
  if (last) enqueue({ kind: "undo", of: last.n });
  return !!last;
}
export function redo(): boolean {
  const gone = entries.value.filter(e => e.kind === "undo" && e.of && undone.value.has(e.of)).at(-1);
  if (gone?.of) enqueue({ kind: "redo", of: gone.of });
  return !!gone;
}

export async function begin(): Promise<void> {
  tables.value = await get<Tables>("api/tables");
  await list();
}
export async function list(): Promise<void> {
  place.value = await get<Place>("api/exams");
}
