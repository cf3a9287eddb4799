// Python as it is when all that every workbook needs has been imported: its memory is kept in a file while the site is
// built, and a page starts with that memory instead of importing it all again.
//
// Pointers in a memory only mean the same if everything lies where it lay. So compiled modules are loaded before Python,
// always in the same order, in the build and in the page alike; their data and functions then have the same places. The
// places are summed up (`load`), and a page that finds another sum starts Python without the memory.
"use strict";
(() => {
  // What every workbook needs. Python's search for circles of objects takes a quarter of a second with all that loaded;
  // so it waits meanwhile, and leaves it all aside for good.
  const IMPORTS = `
import gc
gc.disable()
import piplite.piplite, pyodide_kernel
import lessonkit
lessonkit.bench_panel
gc.freeze()
gc.enable()
`;

  // The first bench loads more, and works out what each later one finds ready.
  const FIRST_USE = `
import lessonkit
lessonkit.show_bench("two-run", "cool-2")
`;

  // So do the first panel, the first clicks, and the first error that is shown. What they would tell the page goes
  // nowhere, and the panel is gone afterwards.
  const FIRST_PANEL = `
def first_panel():
    import gc, sys
    import comm, ipywidgets, lessonkit
    told, comm.create_comm = comm.create_comm, comm.DummyComm
    panel = lessonkit.bench_panel("two-run", scope=True)
    key = panel.breaking.keys["outdoor.SIG"]
    for click in (panel.calls["cool-2"].click, key.click, key.click):
        click()
    ipywidgets.Widget.close_all()
    comm.create_comm = told
    try:
        a_name
    except NameError:
        get_ipython().InteractiveTB.structured_traceback(*sys.exc_info())
    gc.collect()
    gc.freeze()
from IPython import get_ipython
first_panel()
del first_panel
`;

  // What was drawn by chance is drawn anew; a sum shows that compiled modules are alive.
  const WAKE = `
import random, sys
random.seed()
if "numpy.random" in sys.modules:
    sys.modules["numpy.random"].seed()
import numpy
assert numpy.linalg.solve(numpy.eye(2) * 2.0, numpy.ones(2)).sum() == 1.0
`;

  const placesOf = (runtime) => {
    const words = Object.entries(runtime.GOT).map(([name, place]) => `${name} ${place.value}`).join();
    let sum = 0x811c9dc5; // FNV-1a, 32 bits
    for (let at = 0; at < words.length; at += 1) sum = Math.imul(sum ^ words.charCodeAt(at), 0x01000193);
    return { functions: runtime.wasmTable.length, sum: sum >>> 0 };
  };

  // Load compiled modules by their paths, before Python runs; returns where everything lies then.
  const load = (runtime, paths) => {
    // A helper of the runtime lies in the table only where the browser can hold it; the place is taken all the same.
    if (!runtime._PyEM_CountArgsPtr) runtime.wasmTable.grow(1);
    const how = { global: false, nodelete: true, loadAsync: false };
    for (const path of paths) {
      const library = runtime.newDSO(path, undefined, "loading");
      library.global = false;
      library.exports = runtime.loadWebAssemblyModule(runtime.FS.readFile(path), how, path, {});
    }
    return placesOf(runtime);
  };

  const setHelper = (runtime, place) => {
    const offset = runtime.HEAP32[runtime.__PyEM_EMSCRIPTEN_COUNT_ARGS_OFFSET / 4];
    runtime.HEAP32[(runtime.__PyRuntime + offset) / 4] = place;
  };

  // The folders in a folder of the page, itself first.
  const foldersIn = (files, folder) => {
    const inside = files.readdir(folder).filter((name) => !name.startsWith(".") || name.length > 2);
    const paths = inside.map((name) => `${folder}/${name}`).filter((path) => files.isDir(files.stat(path).mode));
    return [folder, ...paths.flatMap((path) => foldersIn(files, path))];
  };

  // What a memory needs beside itself to mean the same again. `places` is what `load` returned at the start.
  const note = (runtime, paths, places) => {
    const libraries = runtime.LDSO.loadedLibsByName;
    if (Object.keys(libraries).length !== paths.length + 1) throw new Error(`loaded: ${Object.keys(libraries)}`);
    // Functions that came into the table later would have to come again, each into its own place.
    if (runtime.wasmTable.length !== places.functions) throw new Error("Python has put functions into the table");
    setHelper(runtime, 0);
    const handles = Object.entries(runtime.LDSO.loadedLibsByHandle).filter(([handle]) => handle !== "0");
    return {
      paths,
      places,
      bytes: runtime.HEAP8.length,
      folders: foldersIn(runtime.FS, "/student"),
      handles: handles.map(([handle, { name }]) => [Number(handle), name]),
    };
  };

  // Start the runtime with a memory that was kept: `start` is its `loadPyodide`, `noted` what `note` returned, `memory` a
  // promise of the bytes. The runtime is made while they still come in.
  const startWith = async (start, options, noted, memory) => {
    const create = globalThis._createPyodideModule;
    let [runtime, failed] = [];
    globalThis._createPyodideModule = async (settings) => {
      settings.INITIAL_MEMORY = noted.bytes;
      settings.preRun.push((made) => {
        runtime = made;
      });
      const made = await create(settings);
      if (failed) throw failed;
      for (const [handle, path] of noted.handles) {
        made.LDSO.loadedLibsByHandle[handle] = made.LDSO.loadedLibsByName[path];
      }
      const [bytes, restore] = [await memory, made.API.restoreSnapshot];
      made.API.restoreSnapshot = () => restore(bytes);
      return made;
    };
    try {
      const python = await start({
        ...options,
        _loadSnapshot: new Uint8Array(1), // `restoreSnapshot` above has the real one
        _snapshotDeserializer: (name) => (name ? runtime.API.public_api[name] : runtime.API.public_api),
        fsInit: async (files) => {
          try {
            await options.fsInit(files);
            for (const folder of noted.folders) files.mkdirTree(folder);
            const places = load(runtime, noted.paths);
            if (JSON.stringify(places) !== JSON.stringify(noted.places)) throw new Error("all lies elsewhere");
          } catch (error) {
            failed = error; // the runtime itself would go on
          }
        },
      });
      setHelper(runtime, runtime._PyEM_CountArgsPtr);
      python.runPython(WAKE);
      return python;
    } finally {
      globalThis._createPyodideModule = create;
    }
  };

  globalThis.lessonkitMemory = { IMPORTS, FIRST_USE, FIRST_PANEL, load, note, startWith };
})();
