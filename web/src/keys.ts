// Keys: one list for the whole page. A view adds its own while it is open; the help shows what holds at the moment.
import { signal } from "@preact/signals";
import { useEffect } from "preact/hooks";

export interface Key { keys: string[]; does: string; act: (event: KeyboardEvent) => void; hidden?: boolean }

export const active = signal<Key[][]>([]);

const typing = (target: EventTarget | null): boolean =>
  target instanceof HTMLElement && (target.isContentEditable || /^(TEXTAREA|SELECT)$/.test(target.tagName) ||
    target instanceof HTMLInputElement && !/^(range|checkbox|radio|button)$/.test(target.type));

function named(event: KeyboardEvent): string {
  const key = event.key === " " ? "space" : event.key.length === 1 ? event.key : event.key.toLowerCase();
  return (event.ctrlKey || event.metaKey ? "ctrl+" : "") + (event.altKey ? "alt+" : "") +
    (event.shiftKey && event.key.length > 1 ? "shift+" : "") + key;
}

addEventListener("keydown", event => {
  if (event.defaultPrevented || typing(event.target) && event.key !== "Escape") return;
  const name = named(event);
  const onControl = event.target instanceof HTMLElement && /^(BUTTON|A|INPUT|SUMMARY)$/.test(event.target.tagName);
  if (onControl && (name === "space" || name === "enter")) return; // the control's own
  if (event.target instanceof HTMLInputElement && event.target.type === "range" && name.includes("arrow")) return;
  for (const list of [...active.value].reverse())
    for (const key of list)
      if (key.keys.includes(name)) {
        event.preventDefault();
        key.act(event);
        return;
      }
});

/** Holds while the component is there. */
export function useKeys(list: () => Key[], inputs: unknown[]): void {
  useEffect(() => {
    const mine = list();
    active.value = [...active.value, mine];
    return () => { active.value = active.value.filter(one => one !== mine); };
  }, inputs);
}
