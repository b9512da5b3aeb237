// One clip to look at, without an examination around it: for blind lists, differences and lessons. The picture and its
// straightened form, playing and scrubbing with the keys of the clip sheet; marks only when they are handed in.
import { useEffect, useMemo, useState } from "preact/hooks";
import { Frames, loadFrom } from "./frames";
import { known } from "./geometry";
import { useKeys } from "./keys";
import { language, t } from "./language";
import { display, Picture } from "./picture";
import { Player } from "./player";
import { marksOn } from "./state";
import { timeWords } from "./time";
import type { Clip, Reading, Scale, View } from "./types";

export interface Seen { view?: View; scale?: Scale; frames?: number; duration_s?: number | null }

export function usePlayerOf(path: string): Player {
  const player = useMemo(() => new Player(loadFrom(path, "")), [path]);
  useEffect(() => () => player.end(), [player]);
  return player;
}

/** `name` says what is shown, for screen readers; `marks` is what to draw, nothing while the reader is blind. */
export function Loupe({ player, seen, name, marks = null }: { player: Player; seen: Seen; name: string; marks?: Reading | null }) {
  const [head, setHead] = useState(player.frames.head), [playing, setPlaying] = useState(player.playing), [words, setWords] = useState("");
  useEffect(() => {
    const arrived = (f: Frames): void => { setHead(f.head); };
    arrived(player.frames);
    let begun = false;
    const off = [player.frames.on(() => {
      arrived(player.frames);
      if (!begun && player.frames.pictures.length > 4) { begun = true; if (!marks) player.play(); }
    }), player.on(() => { setPlaying(player.playing); setWords(timeWords(player)); })];
    return () => off.forEach(one => one());
  }, [player]);
  const view = known(seen.view) ? seen.view : head?.view && head.view.shape !== "unknown" ? head.view : undefined;
  const clip: Clip = useMemo(() => ({ id: name, clip: name, where: `loupe ${name}`, zone: null, zone_from: "", notes: "", done: true, status: "read",
    ...(view ? { view } : {}), ...(seen.scale ? { scale: seen.scale } : {}), reading: marks }), [name, view?.shape, view?.near_r, view?.first_x, marks]);
  useKeys(() => [
    { keys: ["space"], does: t("play or pause"), act: () => player.toggle() },
    { keys: ["arrowright"], does: t("one frame on"), act: () => { player.pause(); player.step(1); } },
    { keys: ["arrowleft"], does: t("one frame back"), act: () => { player.pause(); player.step(-1); } },
    { keys: ["m"], does: t("marks and threads on or off"), act: () => { marksOn.value = !marksOn.value; }, hidden: !marks },
  ], [player, language.value, !marks]);
  const d = display.value;
  return <div class="loupe">
    <div class="pictures">
      <Picture clip={clip} player={player} straight={false} name="fan" codes={[]} withLine={false} label={`${name}: ${t("the picture")}`} />
      {view && <Picture clip={clip} player={player} straight name="straight" codes={[]} withLine={false} label={`${name}: ${t("straightened, beams side by side")}`} />}
    </div>
    <div class="transport">
      <button class="act" onClick={() => player.toggle()}>{playing ? t("pause") : t("play")}</button>
      <span class="time-now">{words}</span>
      <label class="choice-line">{t("brightness")} <input type="range" min={-0.5} max={0.5} step={0.02} value={d.gain} onInput={e => { display.value = { ...d, gain: Number((e.target as HTMLInputElement).value) }; }} /></label>
    </div>
    {player.frames.failed && <p class="asks">{player.frames.failed}</p>}
  </div>;
}
