// What is planned, from the hospital's worklist, to begin an examination from. The names are on this screen only.
import { useEffect, useState } from "preact/hooks";
import { get, post } from "./api";
import { t } from "./language";
import { go, list, tables, trouble } from "./state";
import type { Planned } from "./types";

/** "Family^Given=..." as people write it. */
const named = (name: string): string => (name.split("=").find(group => group) ?? "").split("^").filter(part => part).slice(0, 2).join(", ");
const day = (date: string): string => /^\d{8}$/.test(date) ? `${date.slice(0, 4)}-${date.slice(4, 6)}-${date.slice(6, 8)}` : "";
const clock = (time: string): string => /^\d{4}/.test(time) ? `${time.slice(0, 2)}:${time.slice(2, 4)}` : "";

export function PlannedList() {
  const [there, setThere] = useState<Planned | null>(null), [why, setWhy] = useState(""), [busy, setBusy] = useState("");
  const [protocol, setProtocol] = useState("");
  const look = (): void => {
    setWhy("");
    get<Planned>("api/planned").then(setThere).catch((cause: Error) => setWhy(cause.message));
  };
  useEffect(look, []);
  if (!there?.may && !why) return null;
  const schemes = tables.value?.schemes ?? [], scheme = protocol || schemes[0]?.key || "";
  const begin = (key: string): void => {
    setBusy(key);
    post<{ id: string }>("api/planned", { key, protocol: scheme }).then(async made => { await list(); go("chest", made.id); }).catch(trouble).finally(() => setBusy(""));
  };
  return <section class="shelf planned" aria-label={t("Planned today")}>
    <h2>{t("Planned today")}</h2>
    {why && <p class="asks">{t("The worklist did not answer.")} {why}</p>}
    {there && !why && <p class="facts"><label>{t("Scheme of zones")} <select value={scheme} onChange={event => setProtocol(event.currentTarget.value)}>
      {schemes.map(one => <option key={one.key} value={one.key}>{t(one.name)}</option>)}</select></label></p>}
    {there && !why && <ul>{there.planned.map(one => <li key={one.key}>
      <span class="when">{clock(one.time)}</span> <b>{named(one.name) || t("no name given")}</b> <span>{day(one.born) && `${t("born")} ${day(one.born)}`} {one.patient && `ID ${one.patient}`}</span>
      <span class="quiet">{one.procedure} {one.accession}</span>
      <button class="plain" disabled={!!busy} aria-label={`${t("begin it")}: ${named(one.name)} ${clock(one.time)}`} onClick={() => begin(one.key)}>{busy === one.key ? t("beginning ...") : t("begin it")}</button></li>)}</ul>}
    {there?.more && !why && <p class="quiet">{t("There are more; the worklist names too many to show.")}</p>}
    {there && !why && !there.planned.length && <p class="quiet">{t("No ultrasound is planned today.")}</p>}
    <p><button class="plain" onClick={look}>{t("ask the worklist again")}</button> <span class="quiet">{t("Patient and order are written into the examination’s folder on this machine, and from there into the report.")}</span></p>
  </section>;
}
