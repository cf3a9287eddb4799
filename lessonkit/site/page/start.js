// Starts Python for the kernel's worker. The kernel calls `loadPyodide`; this one fetches all that a workbook needs
// side by side, tells the page how far it is, and uses the bytecode that was made beforehand.
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
    self.postMessage({ lessonkit: { done: 0, all: 1, text: `Python did not start: ${why}` } });
    throw error;
  };

  const startPython = async (options) => {
    const folder = options.indexURL;
    const packages = @PACKAGES@;
    let done = 0;
    const tell = (text) => self.postMessage({ lessonkit: { done, all: packages.length + 3, text } });
    const began = performance.now();
    tell("fetching Python");
    importScripts(folder + "pyodide.js");
    const start = self.loadPyodide;
    // What is fetched counts as a step; the runtime fetches with the worker's own fetch.
    const fetched = self.fetch;
    self.fetch = async (...what) => {
      const answer = await fetched(...what);
      done = Math.min(done + 1, packages.length);
      tell("fetching Python and the bench");
      return answer;
    };
    const python = await start({
      ...options,
      packages: [],
      env: { HOME: "/student", MPLCONFIGDIR: "/student/matplotlib" },
    });
    done = Math.max(done, 6);
    tell("unpacking the bench");
    await python.loadPackage(packages, { messageCallback() {}, checkIntegrity: false });
    self.fetch = fetched;
    done = packages.length + 1;
    tell("starting Python");
    const run = python.runPythonAsync.bind(python);
    python.runPythonAsync = async (code, ...more) => {
      const answer = await run(code, ...more).catch(failed);
      if (code.includes("import pyodide_kernel")) {
        // Completion by types would need another two megabytes.
        python.runPython("pyodide_kernel.ipython_shell.Completer.use_jedi = False");
        done = packages.length + 3;
        const seconds = (performance.now() - began) / 1000;
        self.postMessage({ lessonkit: { done, all: done, text: "Python is ready", ready: true, seconds } });
      }
      return answer;
    };
    // Most of what is left of a start; the kernel finds it done.
    await run("import piplite.piplite, pyodide_kernel");
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
