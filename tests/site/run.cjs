// Runs a program of Python in a site's runtime, in Node: node run.cjs RUNTIME MOUNTS PROGRAM
// MOUNTS is JSON: which folders of this computer the program sees, by the path that they have for it.
"use strict";
const fs = require("node:fs");
const path = require("node:path");
const zlib = require("node:zlib");
const [runtime, mounts, program] = process.argv.slice(2);

const stop = (error) => {
  console.error(String((error && error.message) || error).trim());
  process.exit(1);
};
process.on("uncaughtException", stop);
process.on("unhandledRejection", stop);

(async () => {
  const { loadPyodide } = require(path.join(runtime, "pyodide.js"));
  const { layPack } = require(path.join(runtime, "lay.js"));
  const pack = zlib.gunzipSync(fs.readFileSync(path.join(runtime, "python.pack")));
  const python = await loadPyodide({
    indexURL: runtime + path.sep,
    stdLibURL: path.join(runtime, "no-library.zip"),
    fsInit: async (files) => layPack(files, new Uint8Array(pack)),
    env: { HOME: "/student", MPLBACKEND: "Agg", MPLCONFIGDIR: "/student/matplotlib" },
  });
  for (const [inside, outside] of Object.entries(JSON.parse(mounts))) {
    python.FS.mkdirTree(inside);
    python.FS.mount(python.FS.filesystems.NODEFS, { root: outside }, inside);
  }
  python.runPython(fs.readFileSync(program, "utf8"));
  process.exit(0);
})().catch(stop);
