// All workbooks of whoever works here, as one file to hand in.
import { BASE, ownCells, shelf, student, worded } from "./student.js";

const text = (source) => (Array.isArray(source) ? source.join("") : source);

// A workbook with this student's own cells in the place of everyone's. One that was touched keeps what stands there.
export const withOwn = (sheet, cells = {}) => {
  for (const cell of sheet.cells) {
    const [everyones, own] = cells[cell.id] || [];
    if (own !== undefined && text(cell.source) === everyones) cell.source = own;
  }
  return sheet;
};

// What the browser keeps, by path. Reads the page's own store without changing it.
export const kept = () =>
  new Promise((resolve) => {
    let opening;
    try {
      opening = indexedDB.open(shelf());
    } catch {
      return resolve(new Map());
    }
    opening.onupgradeneeded = () => opening.transaction.abort(); // nothing there yet, and nothing is made
    opening.onerror = () => resolve(new Map());
    opening.onsuccess = () => {
      const base = opening.result;
      const found = new Map();
      if (!base.objectStoreNames.contains("files")) {
        base.close();
        return resolve(found);
      }
      const walk = base.transaction("files").objectStore("files").openCursor();
      walk.onsuccess = () => {
        const at = walk.result;
        if (!at) {
          base.close();
          return resolve(found);
        }
        if (at.value && at.value.type === "notebook" && at.value.content) found.set(String(at.key), at.value.content);
        at.continue();
      };
      walk.onerror = () => resolve(found);
    };
  });

// List the workbooks of the site: those of the series, not the demonstrations a folder down.
export const workbooks = async () => {
  const list = await (await fetch(new URL("api/contents/all.json", BASE))).json();
  return list.content.filter((item) => item.type === "notebook").map((item) => item.path).sort();
};

// Every workbook with its content: what is kept here, and for the rest the unanswered one.
export const collect = async () => {
  const [paths, mine, own] = await Promise.all([workbooks(), kept(), ownCells()]);
  const sheets = new Map();
  for (const path of paths) {
    const sheet = mine.get(path) || (await (await fetch(new URL(`files/${path}`, BASE))).json());
    sheets.set(path, withOwn(typeof sheet === "string" ? JSON.parse(sheet) : sheet, own[path]));
  }
  // What lies a folder down (the glossary, demonstrations) may be kept here, too, and has no answers in it.
  for (const [path, sheet] of mine) if (!sheets.has(path) && !path.includes("/")) sheets.set(path, sheet);
  return sheets;
};

const CRC = Uint32Array.from({ length: 256 }, (_, n) => {
  let c = n;
  for (let k = 0; k < 8; k += 1) c = c & 1 ? 0xedb88320 ^ (c >>> 1) : c >>> 1;
  return c;
});

export const crc32 = (bytes) => {
  let c = 0xffffffff;
  for (const byte of bytes) c = CRC[(c ^ byte) & 0xff] ^ (c >>> 8);
  return (c ^ 0xffffffff) >>> 0;
};

const packed = async (bytes) => {
  if (typeof CompressionStream === "undefined") return null;
  try {
    const stream = new Blob([bytes]).stream().pipeThrough(new CompressionStream("deflate-raw"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  } catch {
    return null; // an older browser: it can pack, but not so
  }
};

// A ZIP archive (APPNOTE 6.3) of texts by name, dated now.
export const zip = async (texts) => {
  const parts = [];
  const index = [];
  let at = 0;
  const now = new Date();
  const time = (now.getHours() << 11) | (now.getMinutes() << 5) | (now.getSeconds() >> 1);
  const date = ((now.getFullYear() - 1980) << 9) | ((now.getMonth() + 1) << 5) | now.getDate();
  for (const [name, content] of texts) {
    const bytes = new TextEncoder().encode(content);
    const label = new TextEncoder().encode(name);
    const small = await packed(bytes);
    const body = small || bytes;
    const head = new DataView(new ArrayBuffer(46));
    // Both headers share 26 bytes: version, flags (names are UTF-8), method, time, date, CRC, sizes, length of the name.
    const fields = (view, from) => {
      view.setUint16(from, 20, true);
      view.setUint16(from + 2, 0x0800, true);
      view.setUint16(from + 4, small ? 8 : 0, true);
      view.setUint16(from + 6, time, true);
      view.setUint16(from + 8, date, true);
      view.setUint32(from + 10, crc32(bytes), true);
      view.setUint32(from + 14, body.length, true);
      view.setUint32(from + 18, bytes.length, true);
      view.setUint16(from + 22, label.length, true);
    };
    const local = new DataView(new ArrayBuffer(30));
    local.setUint32(0, 0x04034b50, true);
    fields(local, 4);
    parts.push(new Uint8Array(local.buffer), label, body);
    head.setUint32(0, 0x02014b50, true);
    head.setUint16(4, 20, true);
    fields(head, 6);
    head.setUint32(42, at, true);
    index.push(new Uint8Array(head.buffer), label);
    at += 30 + label.length + body.length;
  }
  const end = new DataView(new ArrayBuffer(22));
  end.setUint32(0, 0x06054b50, true);
  end.setUint16(8, texts.size, true);
  end.setUint16(10, texts.size, true);
  end.setUint32(12, index.reduce((sum, part) => sum + part.length, 0), true);
  end.setUint32(16, at, true);
  return new Blob([...parts, ...index, new Uint8Array(end.buffer)], { type: "application/zip" });
};

// Download everything as one file. `name` is whose it is; empty for nobody's.
export const download = async (name = student().name) => {
  const who = worded(name).slice(0, 48);
  const texts = new Map();
  for (const [path, sheet] of await collect()) {
    const file = who ? `${who}/${path.replace(/[.]ipynb$/, "")}_${who}.ipynb` : path;
    texts.set(file, `${JSON.stringify(sheet, null, 1)}\n`);
  }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(await zip(texts));
  link.download = who ? `answers_${who}.zip` : "answers.zip";
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(() => URL.revokeObjectURL(link.href), 60_000);
};
