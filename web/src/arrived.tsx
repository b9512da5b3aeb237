// What machines sent by DICOM (strandline receive), to be brought into the examination that is open.
import { useEffect, useState } from "preact/hooks";
import { get, post } from "./api";
import { t } from "./language";
import { exam, say, trouble } from "./state";
import type { Arrived } from "./types";

export function ArrivedList() {
  const [there, setThere] = useState<Arrived | null>(null), [busy, setBusy] = useState("");
  useEffect(() => {
    let timer = 0, ended = false;
    const look = (): void => { get<Arrived>("api/arrived").then(got => { if (!ended) { setThere(got); timer = window.setTimeout(look, 5000); } }).catch(() => { timer = window.setTimeout(look, 10000); }); };
    look();
    return () => { ended = true; clearTimeout(timer); };
  }, []);
  if (!there?.studies.length) return null;
  const take = (study: string): void => {
    setBusy(study);
    post<{ clips: number }>(`api/exams/${exam.value!.id}/arrived`, { study }).then(got => { if (!got.clips) say(t("All its clips are here already.")); }).catch(trouble).finally(() => setBusy(""));
  };
  return <section class="arrived" aria-label={t("Arrived by DICOM")}>
    <h2>{t("Arrived by DICOM")}</h2>
    <ul>{there.studies.slice(0, 12).map(one => <li key={one.id}><span>{one.newest.slice(0, 16).replace("T", " ")} UTC</span> <b>{one.clips} {t(one.clips === 1 ? "clip" : "clips")}</b> <span class="quiet">{(one.bytes / 1e6).toFixed(0)} MB</span>{" "}
      <button class="plain" disabled={!!busy} onClick={() => take(one.id)}>{busy === one.id ? t("bringing in ...") : t("bring into this examination")}</button></li>)}</ul>
  </section>;
}
