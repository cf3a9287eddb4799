// Around a workbook: starts the page, says how far Python is, saves, stops loops, and hands the answers out.
import { download, withOwn } from "./answers.js";
import { BASE, ownCells, remember, remembered, shelf, student } from "./student.js";

const SLOW_S = () => Number(document.body.dataset.slowSeconds || 20);
const $ = (selector) => document.querySelector(selector);
const sleep = (ms) => new Promise((done) => setTimeout(done, ms));

let ready = false;
let shutDown = false; // by the menu

const say = (text, share) => {
  $(".lk-state").textContent = text;
  $(".lk-progress").hidden = share >= 1;
  $(".lk-progress").value = share;
};

// Python runs in a worker, which tells how far it is; the page makes that worker, so it is met here. The first one is
// there already when the page asks for it: it starts Python while the page is still being read.
const meetWorkers = (startScript) => {
  const Plain = window.Worker;
  const met = (worker) => {
    ready = false;
    worker.addEventListener("message", ({ data }) => {
      if (!data || !data.lessonkit) return;
      const { share, text } = data.lessonkit;
      ready = Boolean(data.lessonkit.ready);
      say(ready ? text : `${text} (${Math.round(100 * share)} %)`, share);
      if (!ready) return;
      document.body.dataset.pythonSeconds = data.lessonkit.seconds;
      document.body.dataset.pythonMemory = data.lessonkit.kept ? "kept" : "none";
    });
    return worker;
  };
  let early = met(new Plain(startScript, { name: "lessonkit early" }));
  window.Worker = class extends Plain {
    constructor(script, ...how) {
      if (early && String(script).includes("pyodide-kernel-extension")) {
        const worker = early;
        early = null;
        worker.postMessage({ lessonkitKernel: String(script) });
        return worker;
      }
      super(script, ...how);
      met(this);
    }
  };
};

// Every path starts at the site's own folder, wherever that is served from.
const readConfig = () => {
  const element = $("#jupyter-config-data");
  const config = JSON.parse(element.textContent.replaceAll("@BASE@", BASE.pathname));
  config.contentsStorageName = shelf();
  element.textContent = JSON.stringify(config);
  return config;
};

const startPage = () => {
  const bundle = document.createElement("script");
  bundle.src = new URL("build/notebooks/bundle.js", BASE);
  document.head.append(bundle);
};

const opened = async () => {
  for (;;) {
    const panel = window.jupyterapp?.shell?.currentWidget;
    if (panel?.context && panel.content?.widgets) return panel;
    await sleep(50);
  }
};

// There is one kernel, so nobody is ever asked which: whoever runs a cell too soon waits for it.
const neverAsk = (app, panel) => {
  const session = panel.sessionContext;
  const start = session.startKernel.bind(session);
  const begin = async () => {
    await app.serviceManager.ready;
    await app.serviceManager.kernelspecs.ready;
    if (!app.serviceManager.kernelspecs.specs) await app.serviceManager.kernelspecs.refreshSpecs();
    if (!session.session?.kernel) await start();
    if (!session.session?.kernel) await session.changeKernel({ name: "python" });
    return false;
  };
  // Many cells may ask at once; a second start beside the first would leave both without a session.
  let starting = null;
  session.startKernel = () => {
    starting ??= begin().finally(() => {
      starting = null;
    });
    return starting;
  };
  session.kernelChanged.connect((_, { newValue }) => {
    shutDown = !newValue;
    if (!shutDown) return;
    ready = false;
    say("Python is shut down: Run all starts it again", 1);
  });
};

// One save at a time: to one that begins before the last is through, the file looks changed by somebody else, and the
// page asks whether all should go back to that.
const saveInTurn = (context) => {
  const save = context.save.bind(context);
  let last = Promise.resolve();
  context.save = () => {
    last = last.catch(() => {}).then(save); // who asked for the last one hears how that went
    return last;
  };
};

// Runs code cells one after the other and stops at an error, but for one that a workbook shows on purpose:
// this kernel would drop all that waits behind it. No cell becomes the one in hand by that, as it would by the command
// to run it: the page stays where its reader is, and no time goes into moving the cell's toolbar.
let turn = 0;
const runCells = async (panel, end = Infinity) => {
  turn += 1;
  const mine = turn;
  const { content: notebook, sessionContext } = panel;
  if (shutDown) await sessionContext.startKernel();
  // What is asked of Python before it is there may be lost; and one that is there has told how it does.
  while (!ready || (sessionContext.session?.kernel?.status ?? "unknown") === "unknown") {
    await sleep(20);
    if (mine !== turn) return;
  }
  for (let k = 0; k < Math.min(end, notebook.widgets.length); k += 1) {
    const cell = notebook.widgets[k];
    if (cell.model.type !== "code") continue;
    const { deletedCells } = notebook.model;
    const reply = await cell.constructor.execute(cell, sessionContext, { deletedCells }).catch((reason) => {
      if (!String(reason?.message).startsWith("Canceled")) throw reason;
      return null;
    });
    if (mine !== turn || reply === null) return; // Python began anew meanwhile, or the cell went away
    const failed = cell.model.outputs.toJSON().some((output) => output.output_type === "error");
    if (failed && !(cell.model.getMetadata("tags") || []).includes("raises-exception")) {
      notebook.deselectAll();
      notebook.activeCellIndex = k;
      notebook.scrollToItem(k, "smart");
      return;
    }
  }
};

// The menus and the toolbar run all cells in the same way: what they would send at once, this kernel drops behind the
// error that a workbook shows on purpose.
const runAllByMenu = (app, panel) => {
  const execute = app.commands.execute.bind(app.commands);
  const runs = {
    "notebook:run-all-cells": () => runCells(panel),
    "notebook:restart-run-all": async () => {
      if (await execute("notebook:restart-kernel")) await runCells(panel); // else it was thought better of
    },
  };
  app.commands.execute = (id, ...words) => (id in runs ? runs[id]() : execute(id, ...words));
};

const fillOwnCells = async (panel) => {
  const cells = (await ownCells())[panel.context.path];
  if (!cells) return;
  const sheet = panel.context.model.toJSON();
  const own = withOwn(structuredClone(sheet), cells);
  own.cells.forEach((cell, k) => {
    const source = Array.isArray(cell.source) ? cell.source.join("") : cell.source;
    const model = panel.content.model.cells.get(k).sharedModel;
    if (model.getSource() !== source) model.setSource(source);
  });
};

// A link of the start page leads to one cell.
const goToCell = (panel) => {
  const id = new URLSearchParams(location.hash.slice(1)).get("cell-id");
  const index = panel.content.widgets.findIndex((cell) => cell.model.id === id);
  if (index < 0) return;
  panel.content.activeCellIndex = index;
  panel.content.scrollToItem(index, "start");
};

const keepSaving = (panel) => {
  let waiting = 0;
  const save = async () => {
    waiting = 0;
    await panel.context
      .save()
      .then(() => {
        document.body.dataset.savedAt = String(Date.now());
        if (!waiting) document.body.dataset.work = "kept"; // else it was changed while it was being kept
        if (ready) say(`kept in this browser at ${new Date().toLocaleTimeString()}`, 1);
      })
      .catch(() => say("this browser would not keep your work: download it now", 1));
  };
  panel.context.model.contentChanged.connect(() => {
    clearTimeout(waiting);
    document.body.dataset.work = "changed";
    waiting = setTimeout(save, 1000);
  });
  document.addEventListener("visibilitychange", () => {
    if (document.hidden && waiting) save();
  });
  window.addEventListener("beforeunload", (event) => {
    if (waiting) {
      save();
      event.preventDefault(); // the browser asks, and a second later all is kept
    }
  });
  return save;
};

// A loop without an end keeps Python from hearing anything. The way out is to begin Python anew.
const watchLoops = (panel) => {
  const since = new Map();
  const note = (cell) => {
    const box = document.createElement("div");
    box.className = "lk-loop";
    box.setAttribute("role", "alert");
    const words = document.createElement("p");
    words.textContent =
      `This cell has been running for ${SLOW_S()} seconds. Some need that long on a slow device. If it holds a loop ` +
      "that never ends, only starting Python again stops it: your text and answers stay, and what the cells had " +
      "computed is computed again.";
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = "Stop it, and run the cells above again";
    button.addEventListener("click", async () => {
      button.disabled = true;
      since.clear();
      say("starting Python again", 0);
      ready = false;
      turn += 1;
      const index = panel.content.widgets.indexOf(cell);
      await panel.sessionContext.session.kernel.restart();
      box.remove();
      panel.content.deselectAll();
      panel.content.activeCellIndex = index;
      cell.setPrompt("");
      await runCells(panel, index);
    });
    box.append(words, button);
    cell.node.append(box);
    box.scrollIntoView({ block: "nearest" });
    return box;
  };
  const boxes = new Map();
  setInterval(() => {
    for (const cell of panel.content.widgets) {
      const runs = ready && cell.model.type === "code" && cell.model.executionState === "running";
      if (!runs) {
        since.delete(cell);
        boxes.get(cell)?.remove();
        boxes.delete(cell);
      } else if (!since.has(cell)) {
        since.set(cell, performance.now());
        break; // the others wait behind this one
      } else {
        if (performance.now() - since.get(cell) > SLOW_S() * 1000 && !boxes.has(cell)) boxes.set(cell, note(cell));
        break;
      }
    }
  }, 500);
};

const main = async () => {
  if (window.lessonkitLacks) return; // needs.js has said so
  const { litePluginSettings } = readConfig();
  const { pyodideUrl } = litePluginSettings["@jupyterlite/pyodide-kernel-extension:kernel"];
  meetWorkers(new URL(pyodideUrl, BASE).href);
  if ("serviceWorker" in navigator) {
    navigator.serviceWorker.register(new URL("service-worker.js", BASE)).catch(() => {});
  }
  const notice = $(".lk-notice");
  notice.hidden = remembered("told") === true;
  notice.querySelector("button").addEventListener("click", () => {
    remember("told", true);
    notice.hidden = true;
    window.dispatchEvent(new Event("resize"));
  });
  startPage();
  const panel = await opened();
  const app = window.jupyterapp;
  neverAsk(app, panel);
  await panel.context.ready;
  saveInTurn(panel.context);
  await fillOwnCells(panel);
  document.title = `${panel.context.path.replace(/[.]ipynb$/, "").replace(/_/g, " ")} - lessonkit`;
  const save = keepSaving(panel);
  watchLoops(panel);
  runAllByMenu(app, panel);
  // The line with the file's name is other people's; a phone has no room for a menu either.
  app.shell.collapseTop();
  if (window.matchMedia("(max-width: 700px)").matches) app.shell.menu.setHidden(true);
  goToCell(panel);
  $(".lk-run").addEventListener("click", () => runCells(panel));
  $(".lk-download").addEventListener("click", async () => {
    await save();
    const { name } = student();
    await download(name || window.prompt("Your name, for the file (may be left empty):", "") || "");
  });
  document.body.dataset.workbook = "open";
};

main();
