// A clip's decoded frames in the page's memory: streamed in, the first one shown at once; the least used clips go when
// the memory set aside is full.
import { stream } from "./api";
import type { FramesHead } from "./types";

// Frames kept: a twentieth of the machine's memory as far as the browser tells it (in GB, at most 8); told in docs/page.md.
const MOST_BYTES = Math.min(420e6, ((navigator as { deviceMemory?: number }).deviceMemory ?? 4) * 1e9 / 20);

export class Frames {
  head: FramesHead | null = null;
  readonly pictures: Uint8Array[] = [];
  readonly times: number[] = []; // seconds; invented from the rate where the file has none
  readonly indices: number[] = [];
  timesKnown = true;
  complete = false;
  failed = "";
  bytes = 0;
  private listeners = new Set<() => void>();

  on(listener: () => void): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }
  tell(): void { for (const listener of [...this.listeners]) listener(); }

  get duration(): number {
    const n = this.times.length;
    if (n < 2) return n ? 0.04 : 0;
    return this.times[n - 1]! + (this.times[n - 1]! - this.times[0]!) / (n - 1);
  }
  /** The picture shown at a time. */
  at(time: number): number {
    let low = 0, high = this.times.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (this.times[middle]! <= time + 1e-6) low = middle; else high = middle - 1;
    }
    return low;
  }
  /** Position of a frame of the file among those here. */
  ofIndex(index: number): number {
    let low = 0, high = this.indices.length - 1;
    while (low < high) {
      const middle = (low + high + 1) >> 1;
      if (this.indices[middle]! <= index) low = middle; else high = middle - 1;
    }
    return low;
  }
}

/** Reads the form of src/serve/frames.h. */
export async function readFrames(response: Response, into: Frames): Promise<void> {
  const reader = response.body!.getReader();
  let lead = new Uint8Array(0), frame: Uint8Array | null = null, filled = 0;
  for (;;) {
    const { done, value } = await reader.read();
    if (done) break;
    let at = 0;
    if (!into.head) {
      const joined = new Uint8Array(lead.length + value.length);
      joined.set(lead);
      joined.set(value, lead.length);
      lead = joined;
      if (lead.length < 4) continue;
      const length = new DataView(lead.buffer).getUint32(0, true);
      if (lead.length < 4 + length) continue;
      into.head = JSON.parse(new TextDecoder().decode(lead.subarray(4, 4 + length))) as FramesHead;
      at = 4 + length;
    }
    const bytes: Uint8Array = lead.length ? lead : value;
    lead = new Uint8Array(0);
    const size = 16 + into.head.width * into.head.height;
    while (at < bytes.length) {
      frame ??= new Uint8Array(size);
      const part = Math.min(size - filled, bytes.length - at);
      frame.set(bytes.subarray(at, at + part), filled);
      at += part;
      filled += part;
      if (filled === size) {
        const words = new DataView(frame.buffer);
        const time = words.getFloat64(0, true), n = into.pictures.length;
        if (!Number.isFinite(time)) into.timesKnown = false;
        into.times.push(Number.isFinite(time) ? time : n / (into.head.rate_hz || 25));
        into.indices.push(words.getUint32(8, true));
        into.pictures.push(frame.subarray(16));
        into.bytes += size;
        frame = null;
        filled = 0;
        if (n === 0) into.tell();
      }
    }
    into.tell();
  }
  into.complete = true;
  into.tell();
}

const cache = new Map<string, Frames>();

/** The frames of a clip, from memory or on their way. `key` changes when the geometry does. */
export function load(examId: string, clipId: string, key: string): Frames {
  return loadFrom(`api/exams/${examId}/clips/${clipId}/frames`, key);
}

/** The same from any address that answers in this form. */
export function loadFrom(path: string, key: string): Frames {
  const name = `${path}/${key}`;
  const there = cache.get(name);
  if (there) {
    cache.delete(name);
    cache.set(name, there);
    return there;
  }
  const frames = new Frames();
  cache.set(name, frames);
  stream(path).then(response => readFrames(response, frames)).catch((cause: unknown) => {
    frames.failed = cause instanceof Error ? cause.message : String(cause);
    cache.delete(name);
    frames.tell();
  }).finally(() => {
    let total = 0;
    for (const one of cache.values()) total += one.bytes;
    for (const [old, one] of cache) {
      if (total <= MOST_BYTES || old === name) break;
      total -= one.bytes;
      cache.delete(old);
    }
  });
  return frames;
}
