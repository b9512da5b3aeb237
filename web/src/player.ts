// Time in a clip: which frame is shown, playing and scrubbing. Views listen and draw; nothing here touches the document,
// so that a step costs one drawing and no more.
import type { Frames } from "./frames";

export class Player {
  position = 0;        // of the frame shown, among those here
  playing = false;
  loop: [number, number] | null = null; // seconds
  dropped = 0;         // pictures that a step skipped although time was there to draw them (docs/performance.md)
  private time = 0;
  private last = 0;
  private request = 0;
  private listeners = new Set<() => void>();
  private off: () => void;

  constructor(readonly frames: Frames) {
    this.off = frames.on(() => this.tell());
  }
  on(listener: () => void): () => void {
    this.listeners.add(listener);
    return () => this.listeners.delete(listener);
  }
  tell(): void { for (const listener of [...this.listeners]) listener(); }
  end(): void { this.pause(); this.off(); this.listeners.clear(); }

  get seconds(): number { return this.time; }
  get count(): number { return this.frames.pictures.length; }
  get index(): number { return this.frames.indices[this.position] ?? 0; }

  show(position: number): void {
    const n = this.count;
    if (!n) return;
    this.position = Math.min(n - 1, Math.max(0, Math.round(position)));
    this.time = this.frames.times[this.position] ?? 0;
    this.tell();
  }
  showTime(time: number): void {
    this.time = Math.min(Math.max(0, time), this.frames.duration);
    this.position = this.frames.at(this.time);
    this.tell();
  }
  step(by: number): void {
    const n = this.count;
    if (n) this.show((this.position + by % n + n) % n);
  }
  play(): void {
    if (this.playing || this.count < 2 && this.frames.complete) return;
    this.playing = true;
    this.last = 0;
    this.request = requestAnimationFrame(this.tick);
    this.tell();
  }
  pause(): void {
    if (!this.playing) return;
    this.playing = false;
    cancelAnimationFrame(this.request);
    this.tell();
  }
  toggle(): void { if (this.playing) this.pause(); else this.play(); }

  private tick = (now: number): void => {
    if (!this.playing) return;
    const passed = this.last ? Math.min(0.25, (now - this.last) / 1000) : 0;
    this.last = now;
    const end = this.loop?.[1] ?? this.frames.duration, begin = this.loop?.[0] ?? 0;
    let time = this.time + passed;
    if (time >= end || time < begin) time = this.frames.complete || this.loop ? begin : this.time;
    this.time = time;
    const position = this.frames.at(time);
    if (position !== this.position) {
      this.position = position;
      this.tell();
    }
    this.request = requestAnimationFrame(this.tick);
  };
}
