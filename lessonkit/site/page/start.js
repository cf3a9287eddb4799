// Starts Python for the kernel's worker. The kernel calls `loadPyodide`; this one lays all that a workbook
// needs before it, bytecode and all, and tells the page how far it is.
//
// A worker of the name EARLY has no kernel yet: the page makes it before anything else, so that Python starts while the
// page itself is still being read. A message tells it later which script the kernel is; that one loads this file again,
// and gets the Python that is on its way.
"use strict";
(() => {
  const EARLY = "lessonkit early";

  // The kernel would wait for ever without a word.
  const failed = (error) => {
    const why = String(error.message || error).trim().split("\n").pop();
    self.postMessage({ lessonkit: { share: 0, text: `Python did not start: ${why}` } });
    throw error;
  };

  const PACK_BYTES = @BYTES@;

  // The pack as it comes in, unpacked; `tell` hears what share of it is there.
  const fetchPack = async (address, tell) => {
    const answer = await fetch(address);
    if (!answer.ok) throw new Error(`${address} is not to be had (${answer.status})`);
    // A whole percent at a time: a message for each of the hundreds of pieces would keep the page busy.
    let come = 0, told = 0;
    const counted = new TransformStream({
      transform(chunk, out) {
        come += chunk.length;
        if (come - told > PACK_BYTES / 100 || come === PACK_BYTES) tell((told = come) / PACK_BYTES);
        out.enqueue(chunk);
      },
    });
    const stream = answer.body.pipeThrough(counted).pipeThrough(new DecompressionStream("gzip"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  };

  // Most of what is left of a start; the kernel and the first cell find it done. Python's search for circles of objects
  // takes a quarter of a second with all that loaded; so it waits meanwhile, and leaves it all aside for good.
  const IMPORTS = `
import gc
gc.disable()
import piplite.piplite, pyodide_kernel
import lessonkit
lessonkit.bench_panel
gc.freeze()
gc.enable()
`;

  const startPython = async (options) => {
    const folder = options.indexURL;
    const tell = (share, text) => self.postMessage({ lessonkit: { share, text } });
    const began = performance.now();
    tell(0, "fetching Python and the bench");
    const pack = fetchPack(folder + "python.pack", (share) => tell(0.6 * share, "fetching Python and the bench"));
    importScripts(folder + "pyodide.js", folder + "lay.js");
    const start = self.loadPyodide;
    const python = await start({
      ...options,
      packages: [],
      stdLibURL: folder + "no-library.zip",
      fsInit: async (files) => {
        layPack(files, await pack);
        tell(0.7, "starting Python");
      },
      env: { HOME: "/student", MPLCONFIGDIR: "/student/matplotlib" },
    });
    tell(0.8, "starting Python");
    const run = python.runPythonAsync.bind(python);
    python.runPythonAsync = async (code, ...more) => {
      const answer = await run(code, ...more).catch(failed);
      if (code.includes("import pyodide_kernel")) {
        // Completion by types would need another two megabytes.
        python.runPython("pyodide_kernel.ipython_shell.Completer.use_jedi = False");
        const seconds = (performance.now() - began) / 1000;
        self.postMessage({ lessonkit: { share: 1, text: "Python is ready", ready: true, seconds } });
      }
      return answer;
    };
    await run(IMPORTS);
    return python;
  };

  if (self.name === EARLY && !self.lessonkitPython) {
    self.lessonkitPython = startPython({ indexURL: new URL("./", self.location.href).href }).catch(failed);
    self.addEventListener("message", function meet({ data }) {
      if (!data?.lessonkitKernel) return;
      self.removeEventListener("message", meet);
      importScripts(data.lessonkitKernel);
    });
  }
  self.loadPyodide = (options) => self.lessonkitPython || startPython(options).catch(failed);
})();
