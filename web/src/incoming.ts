// Bringing clips in: files, or whole folders walked through.
import { bring } from "./api";
import { bringing, exam, list, say, trouble } from "./state";
import { t } from "./language";

interface Walkable { isFile: boolean; isDirectory: boolean; name: string }
interface WalkableFile extends Walkable { file(done: (file: File) => void, fail: (cause: unknown) => void): void }
interface WalkableFolder extends Walkable {
  createReader(): { readEntries(done: (entries: Walkable[]) => void, fail: (cause: unknown) => void): void };
}

async function walk(entry: Walkable, into: File[]): Promise<void> {
  if (into.length > 2000 || entry.name.startsWith(".")) return;
  if (entry.isFile) into.push(await new Promise((done, fail) => (entry as WalkableFile).file(done, fail)));
  else if (entry.isDirectory) {
    const reader = (entry as WalkableFolder).createReader();
    for (;;) {
      const some = await new Promise<Walkable[]>((done, fail) => reader.readEntries(done, fail));
      if (!some.length) return;
      for (const one of some) await walk(one, into);
    }
  }
}

export async function dropOn(data: DataTransfer): Promise<void> {
  if (!exam.value) { say(t("Open or begin an examination first, then drop its clips on it.")); return; }
  const files: File[] = [];
  const entries = [...data.items].map(item => item.webkitGetAsEntry?.() as unknown as Walkable | null).filter(one => !!one);
  try {
    for (const entry of entries) await walk(entry, files);
    if (!entries.length) files.push(...data.files);
    await bringIn(files);
  } catch (cause) { trouble(cause); }
}

export async function bringIn(files: File[]): Promise<void> {
  const id = exam.value?.id;
  if (!id || !files.length) return;
  const lines = files.map(file => ({ name: file.name, share: 0 }) as { name: string; share: number; trouble?: string });
  bringing.value = lines;
  for (const [i, file] of files.entries()) {
    const line = lines[i]!;
    const tell = (): void => { bringing.value = [...lines]; };
    try {
      await bring(`api/exams/${id}/clips?name=${encodeURIComponent(file.name)}`, file, share => { line.share = share; tell(); });
      line.share = 1;
    } catch (cause) { line.trouble = cause instanceof Error ? cause.message : String(cause); }
    tell();
  }
  bringing.value = lines.filter(line => line.trouble);
  for (const line of bringing.value) say(line.trouble!);
  bringing.value = [];
  void list();
}
