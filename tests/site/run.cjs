// Runs a program of Python in a site's runtime, in Node: node run.cjs RUNTIME MOUNTS PROGRAM
// Python starts as in a page, with the memory that was kept of it.
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
  for (const name of ["pyodide.asm.js", "lay.js", "memory.js"]) await import(path.join(runtime, name));
  const unpacked = (name) => new Uint8Array(zlib.gunzipSync(fs.readFileSync(path.join(runtime, name))));
  const pack = unpacked("python.pack");
  const [noted] = fs.readFileSync(path.join(runtime, "start.js"), "utf8").match(/\{"paths":.*\}(?=\])/);
  const how = {
    indexURL: runtime + path.sep,
    stdLibURL: path.join(runtime, "no-library.zip"),
    fsInit: async (files) => globalThis.layPack(files, pack),
  };
  const memory = Promise.resolve(unpacked("python.memory"));
  const python = await globalThis.lessonkitMemory.startWith(loadPyodide, how, JSON.parse(noted), memory);
  // There is no kernel here that would hear what is printed and what a panel says, and no page that shows pictures.
  python.runPython(`
import comm, os, sys
comm.create_comm, comm.get_comm_manager = comm._create_comm, comm._get_comm_manager
sys.stdout, sys.stderr = sys.__stdout__, sys.__stderr__
os.environ["MPLBACKEND"] = "Agg"
`);
  for (const [inside, outside] of Object.entries(JSON.parse(mounts))) {
    python.FS.mkdirTree(inside);
    python.FS.mount(python.FS.filesystems.NODEFS, { root: outside }, inside);
  }
  python.runPython(fs.readFileSync(program, "utf8"));
  process.exit(0);
})().catch(stop);
