// Where the page is served beyond its own machine: signing in, and for an administrator who may enter.
import { signal } from "@preact/signals";
import { useEffect, useState } from "preact/hooks";
import { get, post } from "./api";
import { t } from "./language";
import { owner, trouble } from "./state";

export type Role = "reader" | "learner" | "administrator";
export interface Session { needed: boolean; name?: string; role?: Role }
export const session = signal<Session | null>(null);

/** True when one may go on; otherwise the page asks for a name and a password. */
export async function knock(): Promise<boolean> {
  session.value = await get<Session>("api/session");
  owner.value = session.value.name ?? "";
  return !session.value.needed || !!session.value.name;
}

const fields = (event: SubmitEvent): Record<string, string> =>
  Object.fromEntries([...new FormData(event.target as HTMLFormElement)].map(([key, value]) => [key, String(value)]));

export function SignIn() {
  const [busy, setBusy] = useState(false), [wrong, setWrong] = useState("");
  const submit = (event: SubmitEvent): void => {
    event.preventDefault();
    setBusy(true);
    post<Session>("api/session", fields(event)).then(() => location.reload())
      .catch((cause: Error) => { setWrong(cause.message); setBusy(false); });
  };
  return <form class="facts" onSubmit={submit}>
    <h1>{t("Sign in")}</h1>
    <label>{t("Name")}<input name="name" autocomplete="username" required maxLength={64} autoFocus /></label>
    <label>{t("Password")}<input name="password" type="password" autocomplete="current-password" required maxLength={256} /></label>
    <p role="alert">{t(wrong)}</p>
    <p><button class="act" type="submit" disabled={busy}>{t("Sign in")}</button></p>
  </form>;
}

/** Who is signed in, beside the top line's other words. */
export function Who() {
  const who = session.value;
  if (!who?.name) return null;
  return <>
    <span class="quiet">{who.name}</span>
    {who.role === "administrator" && <a class="word" href="#/users">{t("users")}</a>}
    <button class="plain" onClick={() => { post("api/session/end", {}).then(() => location.reload()).catch(trouble); }}>{t("sign out")}</button>
  </>;
}

interface User { name: string; role: Role; added: string }
interface Line { at: string; who: string; from: string; what: string; of: string }
const roles: Role[] = ["reader", "learner", "administrator"];

/** An administrator's sheet: who may enter, and who did. */
export function UsersSheet() {
  const [users, setUsers] = useState<User[]>([]), [lines, setLines] = useState<Line[]>([]);
  const look = (): void => { get<{ lines: Line[] }>("api/access?most=100").then(got => setLines(got.lines)).catch(trouble); };
  const change = (body: Record<string, string>): Promise<void> =>
    post<{ users: User[] }>("api/users", body).then(got => { setUsers(got.users); look(); }).catch(trouble);
  useEffect(() => {
    get<{ users: User[] }>("api/users").then(got => setUsers(got.users)).catch(trouble);
    look();
  }, []);
  const add = (event: SubmitEvent): void => {
    event.preventDefault();
    const form = event.target as HTMLFormElement;
    void change({ do: "add", ...fields(event) }).then(() => form.reset());
  };
  return <div class="list">
    <h1>{t("Who may enter")}</h1>
    <table class="rows"><thead><tr><th>{t("Name")}</th><th>{t("Role")}</th><th>{t("since")}</th><th></th></tr></thead>
      <tbody>{users.map(user => <tr key={user.name}>
        <td>{user.name}</td>
        <td><select aria-label={`${t("Role")}: ${user.name}`} value={user.role}
          onChange={event => { void change({ do: "role", name: user.name, role: event.currentTarget.value }); }}>
          {roles.map(role => <option key={role} value={role}>{t(role)}</option>)}</select></td>
        <td>{user.added.slice(0, 10)}</td>
        <td><button class="plain" aria-label={`${t("remove")}: ${user.name}`} onClick={() => { void change({ do: "remove", name: user.name }); }}>{t("remove")}</button></td>
      </tr>)}</tbody></table>
    <form class="facts" onSubmit={add}>
      <h2>{t("Let someone in")}</h2>
      <label>{t("Name")}<input name="name" required maxLength={64} autocomplete="off" /></label>
      <label>{t("Role")}<select name="role">{roles.map(role => <option key={role} value={role}>{t(role)}</option>)}</select></label>
      <label>{t("Password, 12 characters at least; several words do well")}<input name="password" type="password" required minLength={12} maxLength={256} autocomplete="new-password" /></label>
      <p><button class="act" type="submit">{t("Add")}</button></p>
    </form>
    <h2>{t("Who entered, looked, changed and took away")}</h2>
    <table class="rows"><tbody>{lines.map((line, i) => <tr key={i}>
      <td>{line.at.replace("T", " ").replace("Z", "")}</td><td>{line.who || "-"}</td><td>{line.from}</td><td>{t(line.what)}</td><td>{line.of}</td></tr>)}</tbody></table>
  </div>;
}
