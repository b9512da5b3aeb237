// Answers on their way to the server from the sheets that have no journal of an examination: kept in this browser until
// they were taken, in order, each once more when the connection broke. They survive a closed tab.
import { effect, signal } from "@preact/signals";
import { post } from "./api";
import { lost, signedOut, staysWaiting, store, trouble, waitingKey } from "./state";

export interface Letter { path: string; body: unknown }

function restored(): Letter[] {
  try { return JSON.parse(localStorage.getItem("strandline-" + waitingKey("outbox")) ?? "[]") as Letter[]; } catch { return []; }
}
export const outbox = signal<Letter[]>([]);
effect(() => { // and again when it is known who signed in
  outbox.value = restored();
  setTimeout(() => void deliver());
});
export const keptOnce = signal(false);

function keep(letters: Letter[]): void {
  outbox.value = letters;
  store(waitingKey("outbox"), JSON.stringify(letters));
}

export function send(path: string, body: unknown): void {
  keep([...outbox.value, { path, body }]);
  void deliver();
}

/** Resolves when nothing waits any more. */
export async function delivered(): Promise<void> {
  while (outbox.value.length && !signedOut.value) {
    await deliver();
    if (outbox.value.length) await new Promise(resolve => setTimeout(resolve, 300));
  }
}

let busy = false;
export async function deliver(): Promise<void> {
  if (busy || !outbox.value.length) return;
  busy = true;
  const letter = outbox.value[0]!;
  let again = 0;
  try {
    await post(letter.path, letter.body);
    keep(outbox.value.slice(1));
    keptOnce.value = true;
    lost.value = false;
  } catch (cause) {
    if (staysWaiting(cause)) again = 1500;
    else { keep(outbox.value.slice(1)); trouble(cause); } // refused for good: said, not tried for ever
  }
  busy = false;
  if (outbox.value.length && !signedOut.value) { if (again) setTimeout(() => void deliver(), again); else void deliver(); }
}
