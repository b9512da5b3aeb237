// Findings, report and clips of the examination to an archive. The program makes and queues them and sends in the background;
// the page shows what waits, what was refused and why, and what was delivered.
import { useEffect, useState } from "preact/hooks";
import { get, post } from "./api";
import { language, t } from "./language";
import { exam, say, trouble } from "./state";
import type { SendItem, SendState } from "./types";

type What = "findings" | "report" | "clips";

/** The program's sentence, its known part in the page's language. */
function reason(why: string): string {
  const status = /^(.*) \((status [0-9A-F]{4}H.*|HTTP \d+)\)$/.exec(why);
  if (status) return `${t(status[1]!)} (${status[2]!})`;
  const unreached = /^(.+?) is not reached.*?: (.*)\.$/.exec(why);
  if (unreached) return `${unreached[1]!} ${t("is not reached")} (${unreached[2]!})`;
  const away = /^(.+?) turned us away: (.*)\.$/.exec(why);
  if (away) return `${away[1]!} ${t("turned us away")}: ${t(away[2]!)}`;
  return t(why);
}

function fileName(item: SendItem): string {
  return item.file === "findings.dcm" ? t("findings") : item.file === "report.dcm" ? t("report (PDF)") : item.file.replace(/\.dcm$/, "");
}

const clock = (time: string): string => `${time.slice(0, 10)} ${time.slice(11, 16)} UTC`;

function Item({ item, act }: { item: SendItem; act: (what: "retry" | "forget", item: number) => void }) {
  const state = item.state === "sent" ? t("delivered") : item.state === "refused" ? t("refused") : item.tries ? t("waits to be tried again") : t("waits");
  return <li class={`send-${item.state}`}>
    <b>{fileName(item)}</b> · {item.destination}: <span class="state">{state}</span>{" "}
    <span class="quiet">{item.state === "waits" ? (item.tries ? `${t("next try")} ${clock(item.next)}` : "") : clock(item.done)}</span>
    {item.why && <span class={item.state === "sent" ? "quiet" : "asks"}>{item.state === "sent" ? " · " : ""}{reason(item.why)}</span>}
    {item.state !== "sent" && <>{" "}<button class="plain" onClick={() => act("retry", item.item)} aria-label={`${t("try now")}: ${fileName(item)}, ${item.destination}`}>{t("try now")}</button>
      <button class="plain" onClick={() => act("forget", item.item)} aria-label={`${t("do not send")}: ${fileName(item)}, ${item.destination}`}>{t("do not send")}</button></>}
  </li>;
}

export function Sending() {
  const open = exam.value!, id = open.id, ready = open.state === "ready";
  const [there, setThere] = useState<SendState | null>(null), [to, setTo] = useState(""), [busy, setBusy] = useState(false), [round, setRound] = useState(0);
  const [what, setWhat] = useState<Record<What, boolean>>({ findings: true, report: true, clips: false });
  useEffect(() => {
    let timer = 0, ended = false;
    const look = (): void => {
      get<SendState>(`api/exams/${id}/sending`).then(got => {
        if (ended) return;
        setThere(got);
        timer = window.setTimeout(look, got.items.some(item => item.state === "waits") ? 1500 : 8000);
      }).catch(() => { if (!ended) timer = window.setTimeout(look, 8000); });
    };
    look();
    return () => { ended = true; clearTimeout(timer); };
  }, [id, round]);
  if (!there?.may) return null;
  const chosen = there.destinations.find(one => one.name === to) ?? there.destinations[0];
  const kinds: [What, string][] = [["findings", t("findings (structured report)")], ["report", t("report (PDF)")], ["clips", t("clips")]];
  const ask = (body: unknown, then?: (got: { queued: number; waited: number; done: number }) => void): void => {
    setBusy(true);
    post<{ queued: number; waited: number; done: number }>(`api/exams/${id}/sending`, body).then(got => { then?.(got); }).catch(trouble).finally(() => { setBusy(false); setRound(now => now + 1); });
  };
  const send = (event: SubmitEvent): void => {
    event.preventDefault();
    if (!chosen || busy) return;
    ask({ to: chosen.name, language: language.value, what: kinds.map(one => one[0]).filter(one => what[one]) }, got => { if (!got.queued) say(got.waited ? t("All of that waits already.") : t("All of that was delivered there before.")); });
  };
  return <section class="sending" aria-label={t("Send")}>
    <h2>{t("Send")}</h2>
    {chosen ? <form class="facts" onSubmit={send}>
      <label>{t("Where to")} <select value={chosen.name} onChange={event => setTo((event.target as HTMLSelectElement).value)}>
        {there.destinations.map(one => <option key={one.name} value={one.name}>{one.name}{one.safe ? "" : ` (${t("not encrypted")})`}</option>)}</select></label>
      <fieldset class="asked-for"><legend>{t("What")}</legend>{kinds.map(([key, name]) => <label key={key}><input type="checkbox" name={key} checked={what[key]}
        onChange={event => setWhat({ ...what, [key]: (event.target as HTMLInputElement).checked })} /> {name}</label>)}</fieldset>
      <p><button class="act" type="submit" disabled={busy || !ready || !kinds.some(one => what[one[0]])}>{busy ? t("making the objects ...") : t("Send what stands now")}</button></p>
      <p class="quiet">{open.signed ? "" : `${t("It is not signed; it goes as it stands now.")} `}{t("The objects name the patient as the clips do. What is queued stays on this machine’s disk until it is delivered.")}</p>
    </form> : <p class="quiet">{t("No destination is known yet. On this machine, one is added with")} <code>strandline send --add NAME TITLE@host:port</code></p>}
    {there.items.length > 0 && <ol class="queue" aria-label={t("What was sent and what waits")}>{there.items.slice(0, 60).map(item =>
      <Item key={item.item} item={item} act={(verb, number) => ask({ [verb]: number })} />)}</ol>}
  </section>;
}
