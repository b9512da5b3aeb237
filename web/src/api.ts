// Talking to the server. Every address is below the one the page was opened at, which holds the key.

const base = new URL("./", location.href).href.replace(/[?#].*$/, "");
const change = { "X-Strandline": "1" };

/** The server's own sentence, or one for a server that does not answer. */
export class Trouble extends Error {
  constructor(sentence: string, readonly lost: boolean, readonly status = 0) { super(sentence); }
}

async function ask(path: string, init?: RequestInit): Promise<Response> {
  let response: Response;
  try {
    response = await fetch(base + path, { credentials: "same-origin", cache: "no-store", ...init });
  } catch (cause) {
    if (init?.signal?.aborted) throw cause;
    throw new Trouble("strandline does not answer. If it was stopped, start it again and open the new address.", true);
  }
  if (!response.ok) {
    const body = await response.json().catch(() => null) as { error?: string } | null;
    throw new Trouble(body?.error ?? `The server answered ${response.status}.`, response.status >= 500, response.status);
  }
  return response;
}

export async function get<T>(path: string, signal?: AbortSignal): Promise<T> {
  return await (await ask(path, signal ? { signal } : {})).json() as T;
}

export async function post<T>(path: string, body: unknown): Promise<T> {
  const response = await ask(path, {
    method: "POST", headers: { ...change, "Content-Type": "application/json" }, body: JSON.stringify(body),
  });
  return await response.json() as T;
}

export function stream(path: string, signal?: AbortSignal, body?: unknown): Promise<Response> {
  const init: RequestInit = body === undefined ? {} : {
    method: "POST", headers: { ...change, "Content-Type": "application/json" }, body: JSON.stringify(body),
  };
  return ask(path, signal ? { ...init, signal } : init);
}

/** Brings in one file; `progress` from 0 to 1. */
export function bring(path: string, file: File, progress: (share: number) => void): Promise<void> {
  return new Promise((done, fail) => {
    const request = new XMLHttpRequest(); // fetch tells nothing of how far an upload is
    request.open("PUT", base + path);
    request.setRequestHeader("X-Strandline", "1");
    request.setRequestHeader("Content-Type", "application/octet-stream");
    request.upload.onprogress = event => progress(event.lengthComputable ? event.loaded / event.total : 0);
    request.onerror = () => fail(new Trouble(`${file.name} could not be brought in: strandline does not answer.`, true));
    request.onload = () => {
      if (request.status < 300) return done();
      let sentence = `${file.name} could not be brought in.`;
      try { sentence = (JSON.parse(request.responseText) as { error: string }).error; } catch { /* the sentence above stands */ }
      fail(new Trouble(sentence, false));
    };
    request.send(file);
  });
}

export const address = (path: string): string => base + path;
