// Lays the files of the pack before Python: layPack(FILES, ARCHIVE), with the file system of the runtime and the bytes of
// a tar archive (POSIX ustar). Nothing is copied: a file is a view into the archive.
"use strict";
(() => {
  const HOME = "/lib/python3.12";
  const words = new TextDecoder();

  const filesOf = function* (archive) {
    const field = (at, length) => words.decode(archive.subarray(at, at + length)).split("\0")[0];
    for (let at = 0; at + 512 <= archive.length && archive[at]; ) {
      const [name, size, folder] = [field(at, 100), parseInt(field(at + 124, 12), 8), field(at + 345, 155)];
      yield [folder ? `${folder}/${name}` : name, archive.subarray(at + 512, at + 512 + size)];
      at += 512 + 512 * Math.ceil(size / 512);
    }
  };

  const layPack = (files, archive) => {
    const made = new Set();
    for (const [name, bytes] of filesOf(archive)) {
      const path = `${HOME}/${name}`;
      const folder = path.slice(0, path.lastIndexOf("/"));
      if (!made.has(folder)) files.mkdirTree(folder);
      made.add(folder);
      files.writeFile(path, bytes, { canOwn: true });
    }
  };

  globalThis.layPack = layPack;
  if (typeof module === "object") module.exports = { layPack };
})();
