// A pointer that went down on something moves it until it comes up or is taken away (a touch that becomes a scroll, a system's gesture).

/** Hands `move` every event of the pointer from here on, and `end` once when it is over; the element keeps the pointer beyond its borders. */
export function follow(event: PointerEvent, move: (event: PointerEvent) => void, end?: () => void): void {
  const target = event.currentTarget as HTMLElement;
  const up = (): void => {
    target.removeEventListener("pointermove", move);
    target.removeEventListener("pointerup", up);
    target.removeEventListener("pointercancel", up);
    end?.();
  };
  target.setPointerCapture(event.pointerId);
  target.addEventListener("pointermove", move);
  target.addEventListener("pointerup", up);
  target.addEventListener("pointercancel", up);
}
