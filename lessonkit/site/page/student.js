// Who works here, and where that person's work is kept. In a class site each student has numbers of their own, found
// under a key that is made from the name or comes with a link; no name is in any file of the site.
export const BASE = new URL("../", import.meta.url);
const PLACE = `lessonkit ${BASE.pathname}`;

export const remember = (what, value) => {
  try {
    if (value === null) localStorage.removeItem(`${PLACE} ${what}`);
    else localStorage.setItem(`${PLACE} ${what}`, JSON.stringify(value));
  } catch {
    // A browser that keeps nothing says so on the start page.
  }
};

export const remembered = (what) => {
  try {
    return JSON.parse(localStorage.getItem(`${PLACE} ${what}`));
  } catch {
    return null;
  }
};

// {id, name}: id is "" for whoever works with the numbers for self-study.
export const student = () => remembered("student") || { id: "", name: "" };

// Where this person's notebooks are kept in the browser.
export const shelf = () => `${PLACE} work ${student().id}`;

// A name as part of a file's name: the same words as a hand-out makes of it.
export const worded = (name) =>
  (name.normalize("NFKC").toLowerCase().match(/[\p{L}\p{N}]+/gu) || []).join("-");

const K = Uint32Array.from(
  // The first 32 bits of the fractional parts of the cube roots of the first 64 primes (FIPS 180-4, 4.2.2).
  (() => {
    const primes = [];
    for (let n = 2; primes.length < 64; n += 1) if (primes.every((p) => n % p)) primes.push(n);
    // A cube root to 32 bits behind the point needs more than a double has: Newton's method on whole numbers.
    return primes.map((p) => {
      const wanted = BigInt(p) << 96n;
      let root = 1n << 36n;
      for (;;) {
        const next = (2n * root + wanted / (root * root)) / 3n;
        if (next >= root) break;
        root = next;
      }
      return Number(root & 0xffffffffn);
    });
  })(),
);

// SHA-256 (FIPS 180-4) of bytes. The browser's own is only there on https and on localhost.
export const sha256 = (bytes) => {
  const length = bytes.length;
  const padded = new Uint8Array(((length + 8) >> 6 << 6) + 64);
  padded.set(bytes);
  padded[length] = 0x80;
  const view = new DataView(padded.buffer);
  view.setUint32(padded.length - 8, Math.floor(length / 0x20000000));
  view.setUint32(padded.length - 4, (length << 3) >>> 0);
  const h = Uint32Array.of(
    0x6a09e667, 0xbb67ae85, 0x3c6ef372, 0xa54ff53a, 0x510e527f, 0x9b05688c, 0x1f83d9ab, 0x5be0cd19,
  );
  const w = new Uint32Array(64);
  const turn = (x, n) => (x >>> n) | (x << (32 - n));
  for (let at = 0; at < padded.length; at += 64) {
    for (let t = 0; t < 16; t += 1) w[t] = view.getUint32(at + 4 * t);
    for (let t = 16; t < 64; t += 1) {
      const low = turn(w[t - 15], 7) ^ turn(w[t - 15], 18) ^ (w[t - 15] >>> 3);
      const high = turn(w[t - 2], 17) ^ turn(w[t - 2], 19) ^ (w[t - 2] >>> 10);
      w[t] = w[t - 16] + low + w[t - 7] + high;
    }
    let [a, b, c, d, e, f, g, last] = h;
    for (let t = 0; t < 64; t += 1) {
      const one = (last + (turn(e, 6) ^ turn(e, 11) ^ turn(e, 25)) + ((e & f) ^ (~e & g)) + K[t] + w[t]) | 0;
      const two = ((turn(a, 2) ^ turn(a, 13) ^ turn(a, 22)) + ((a & b) ^ (a & c) ^ (b & c))) | 0;
      [last, g, f, e, d, c, b, a] = [g, f, e, (d + one) | 0, c, b, a, (one + two) | 0];
    }
    [a, b, c, d, e, f, g, last].forEach((part, k) => {
      h[k] += part;
    });
  }
  const out = new Uint8Array(32);
  h.forEach((part, k) => new DataView(out.buffer).setUint32(4 * k, part));
  return out;
};

const hex = (bytes) => [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
const utf8 = (text) => new TextEncoder().encode(text);

// The name of the file that holds the numbers of whoever has this key.
export const placeOf = (key) => hex(sha256(utf8(`place ${key}`))).slice(0, 24);

// The key that a typed name makes: slow on purpose, so that trying many names takes long.
export const keyOf = (name, salt, rounds) => {
  let digest = sha256(utf8(`${salt} ${worded(name)}`));
  for (let k = 1; k < rounds; k += 1) digest = sha256(digest);
  return hex(digest);
};

// What the class is; null where this is no class site.
export const classRoom = async () => {
  const answer = await fetch(new URL("class/class.json", BASE));
  return answer.ok ? answer.json() : null;
};

// Take a place in the class, by a key. Returns whether there is one.
export const take = async (key, name) => {
  const id = placeOf(key);
  const answer = await fetch(new URL(`class/${id}.json`, BASE));
  if (!answer.ok) return false;
  remember("student", { id, name });
  return true;
};

// The cells that are this student's own, by workbook and cell: {file: {cell id: [everyone's source, own source]}}.
export const ownCells = async () => {
  const { id } = student();
  if (!id) return {};
  const answer = await fetch(new URL(`class/${id}.json`, BASE));
  return answer.ok ? answer.json() : {};
};
