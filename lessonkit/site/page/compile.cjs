// Starts the runtime of a finished folder in Node, imports what workbooks import, and writes the bytecode of it all to a
// ZIP file: node compile.cjs FOLDER OUT. OUT.json gets the compiled modules that every workbook needs, in their order.
const fs = require("node:fs");
const path = require("node:path");
const zlib = require("node:zlib");
const [folder, out] = process.argv.slice(2);
const stop = require("./stop.cjs");

const COMPILE = `
import importlib.util, io, marshal, sys, zipfile
from importlib._bootstrap_external import _code_to_hash_pyc
import IPython, ipywidgets, matplotlib.pyplot, matplotlib_inline.backend_inline, tomli_w
import lessonkit, pkgutil
for room in pkgutil.walk_packages(lessonkit.__path__, "lessonkit."):
    if not room.name.endswith("__main__") and room.name != "lessonkit.begin":
        try:
            importlib.import_module(room.name)
        except ModuleNotFoundError as missing:
            # A room for commands, which needs what no workbook does; it is compiled where it is used, if ever.
            if (missing.name or "").partition(".")[0] in ("lessonkit", "numpy", "matplotlib", "ipywidgets"):
                raise
lessonkit.show_bench("two-run", "cool-2")
lessonkit.bench_panel("two-run")
import pyodide_kernel

HOME = "/lib/python3.12/"
found = {}
for name in sorted(sys.modules):
    spec = getattr(sys.modules[name], "__spec__", None)
    origin = getattr(spec, "origin", None) or ""
    if not origin.startswith(HOME) or not origin.endswith(".py"):
        continue
    folder, _, file = origin[len(HOME):].rpartition("/")
    # Other people's packages go without their source, which nobody reads there and is half of what is sent.
    alone = folder.startswith("site-packages") and not folder.startswith("site-packages/lessonkit")
    target = f"{folder}/{file}c" if alone else f"{folder}/__pycache__/{file[:-3]}.cpython-312.pyc".lstrip("/")
    source = spec.loader.get_data(origin)
    # Compiled afresh from the source alone: what ran before leaves no trace in it.
    code = compile(source, origin, "exec", dont_inherit=True, optimize=0)
    found[target] = bytes(_code_to_hash_pyc(code, importlib.util.source_hash(source), False))
import json
from matplotlib import font_manager as fonts
# The page's matplotlib keeps its list of fonts beside itself, and says so aloud when it has to make one.
found["site-packages/matplotlib/fontlist.json"] = json.dumps(
    fonts.fontManager, cls=fonts._JSONEncoder, indent=1, sort_keys=True
).encode()
archive = io.BytesIO()
with zipfile.ZipFile(archive, "w") as made:
    for name in sorted(found):
        made.writestr(zipfile.ZipInfo(name), found[name])
archive.getvalue()
`;

(async () => {
  const { loadPyodide } = require(path.join(folder, "pyodide.js"));
  const { layPack } = require(path.join(folder, "lay.js"));
  require(path.join(folder, "memory.js"));
  const { FIRST_USE } = globalThis.lessonkitMemory;
  const pack = zlib.gunzipSync(fs.readFileSync(path.join(folder, "python.pack")));
  const python = await loadPyodide({
    indexURL: folder + path.sep,
    stdLibURL: path.join(folder, "no-library.zip"),
    fsInit: async (files) => layPack(files, new Uint8Array(pack)),
    env: { HOME: "/student", PYTHONHASHSEED: "0" },
  });
  // This loads all compiled modules that a page starts with: the kernel itself has none but those of IPython.
  python.runPython(`import IPython\n${FIRST_USE}`);
  const loaded = Object.keys(python._module.LDSO.loadedLibsByName).filter((name) => name !== "__main__");
  const made = python.runPython(COMPILE).toJs();
  fs.writeFileSync(out, made);
  fs.writeFileSync(`${out}.json`, JSON.stringify(loaded));
  process.exit(0);
})().catch(stop);
