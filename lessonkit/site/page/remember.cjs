// Starts the runtime of a finished folder in Node, imports what every workbook needs, and keeps Python's memory:
// node remember.cjs FOLDER OUT, where OUT.json gets what a page has to know of it. The same folder gives the same bytes.
"use strict";
const fs = require("node:fs");
const path = require("node:path");
const zlib = require("node:zlib");
const [folder, out] = process.argv.slice(2);
const stop = require("./stop.cjs");

// Everything that would differ from one build to the next: the day, the clock, chance, this program's own name, and when
// JavaScript drops what nobody needs.
const fixed = (name, value) => Object.defineProperty(globalThis, name, { value, configurable: true });
let [ticks, chance] = [0, 1];
Date.now = () => 1_577_836_800_000;
performance.now = () => (ticks += 0.001);
fixed(
  "FinalizationRegistry",
  class {
    register() {}
    unregister() {}
  },
);
fixed("navigator", { userAgent: "a page", languages: ["en"], platform: "" });
fixed("crypto", {
  getRandomValues: (view) => {
    const bytes = new Uint8Array(view.buffer, view.byteOffset, view.byteLength);
    for (let k = 0; k < bytes.length; k += 1) {
      chance = (Math.imul(chance, 1_664_525) + 1_013_904_223) >>> 0;
      bytes[k] = chance >>> 24;
    }
    return view;
  },
});

(async () => {
  const { loadPyodide } = require(path.join(folder, "pyodide.js"));
  for (const name of ["pyodide.asm.js", "lay.js", "memory.js"]) await import(path.join(folder, name));
  const { IMPORTS, FIRST_USE, FIRST_PANEL, load, note } = globalThis.lessonkitMemory;
  const paths = JSON.parse(fs.readFileSync(path.join(folder, "libraries.json"), "utf8"));
  const pack = new Uint8Array(zlib.gunzipSync(fs.readFileSync(path.join(folder, "python.pack"))));
  const create = globalThis._createPyodideModule;
  let [runtime, places] = [];
  globalThis._createPyodideModule = (settings) => {
    settings.preRun.push((made) => {
      runtime = made;
    });
    return create(settings);
  };
  const python = await loadPyodide({
    indexURL: folder + path.sep,
    stdLibURL: path.join(folder, "no-library.zip"),
    fsInit: async (files) => {
      await null; // what the runtime does at the same moment comes first, as it does in a page
      globalThis.layPack(files, pack);
      places = load(runtime, paths);
    },
    env: { HOME: "/student", MPLCONFIGDIR: "/student/matplotlib", PYTHONHASHSEED: "0" },
    _makeSnapshot: true,
    _sysExecutable: "./this.program", // as in a page; else it were the name of this file, wherever that lies
  });
  python.runPython(FIRST_USE);
  python.runPython(IMPORTS);
  python.runPython(FIRST_PANEL);
  const { public_api: shown } = runtime.API;
  // A list that no page looks at, and that a memory can't have.
  for (const name of Object.keys(python.loadedPackages)) delete python.loadedPackages[name];
  const noted = note(runtime, paths, places);
  const memory = python.makeMemorySnapshot({
    // Python holds on to the runtime's own functions; each is found by its name again.
    serializer: (held) => {
      const name = held === shown ? "" : Object.getOwnPropertyNames(shown).find((one) => shown[one] === held);
      if (name === undefined) throw new Error(`Python holds on to ${held}`);
      return name;
    },
  });
  fs.writeFileSync(out, memory);
  fs.writeFileSync(`${out}.json`, JSON.stringify(noted));
  process.exit(0);
})().catch(stop);
