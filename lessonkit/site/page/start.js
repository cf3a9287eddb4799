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

  // Bytes of what is fetched; and what the kept memory needs beside itself.
  const [PACK_BYTES, MEMORY_BYTES, NOTED] = [@PACK@, @MEMORY@, @NOTED@];

  // A packed file as it comes in, unpacked; `tell` hears how many bytes came.
  const fetchPacked = async (address, tell) => {
    const answer = await fetch(address);
    if (!answer.ok) throw new Error(`${address} is not to be had (${answer.status})`);
    const counted = new TransformStream({
      transform(chunk, out) {
        tell(chunk.length);
        out.enqueue(chunk);
      },
    });
    const stream = answer.body.pipeThrough(counted).pipeThrough(new DecompressionStream("gzip"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  };

  const startPython = async (options) => {
    const folder = options.indexURL;
    const tell = (share, text) => self.postMessage({ lessonkit: { share, text } });
    const began = performance.now();
    tell(0, "fetching Python and the bench");
    // A whole percent at a time: a message for each of the hundreds of pieces would keep the page busy.
    let [come, told] = [0, 0];
    const whole = PACK_BYTES + MEMORY_BYTES;
    const count = (bytes) => {
      come += bytes;
      if (come - told > whole / 100) tell((0.6 * (told = come)) / whole, "fetching Python and the bench");
    };
    const [pack, memory] = ["python.pack", "python.memory"].map((name) => fetchPacked(folder + name, count));
    memory.catch(() => {}); // Python starts without it, and says below what was wrong
    importScripts(...["pyodide.js", "pyodide.asm.js", "lay.js", "memory.js"].map((name) => folder + name));
    const { IMPORTS, startWith } = self.lessonkitMemory;
    const start = self.loadPyodide;
    const how = {
      ...options,
      packages: [],
      stdLibURL: folder + "no-library.zip",
      fsInit: async (files) => {
        layPack(files, await pack);
        tell(0.7, "starting Python");
      },
      env: { HOME: "/student", MPLCONFIGDIR: "/student/matplotlib" },
    };
    let kept = true;
    const python = await startWith(start, how, NOTED, memory).catch(async (error) => {
      kept = false;
      console.warn("Python starts without the memory that was kept of it:", error);
      const plain = await start(how);
      plain.runPython(IMPORTS);
      return plain;
    });
    tell(0.8, "starting Python");
    const run = python.runPythonAsync.bind(python);
    python.runPythonAsync = async (code, ...more) => {
      const answer = await run(code, ...more).catch(failed);
      if (code.includes("import pyodide_kernel")) {
        // Completion by types would need another two megabytes.
        python.runPython("pyodide_kernel.ipython_shell.Completer.use_jedi = False");
        const seconds = (performance.now() - began) / 1000;
        self.postMessage({ lessonkit: { share: 1, text: "Python is ready", ready: true, seconds, kept } });
      }
      return answer;
    };
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
