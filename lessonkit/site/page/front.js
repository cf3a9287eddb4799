// The start page: who works here, the workbooks, and the way out for the answers.
import { download, kept } from "./answers.js";
import { nextWords, progressOf, words } from "./progress.js";
import { BASE, classRoom, keyOf, remember, remembered, student, take } from "./student.js";

const part = (id) => document.getElementById(id);

// Kept for the next visit, where the browser lets a page keep anything (https, or this same computer).
const keepForLater = async () => {
  if ("serviceWorker" in navigator) {
    await navigator.serviceWorker.register(new URL("service-worker.js", BASE)).catch(() => {});
  }
  await navigator.storage?.persist?.().catch(() => {});
};

const keeps = () =>
  new Promise((resolve) => {
    try {
      const trial = indexedDB.open("lessonkit trial");
      trial.onsuccess = () => {
        trial.result.close();
        resolve(true);
      };
      trial.onerror = () => resolve(false);
    } catch {
      resolve(false);
    }
  });

const linkTo = (file, text, cell = "") => {
  const link = document.createElement("a");
  link.href = `notebooks/index.html?path=${encodeURIComponent(file)}${cell && `#cell-id=${cell}`}`;
  link.textContent = text;
  return link;
};

const rowOf = (book) => {
  const row = document.createElement("tr");
  const name = document.createElement("th");
  name.scope = "row";
  name.append(linkTo(book.file, book.title));
  row.append(name);
  const right = book.count("noted") ? "" : `${book.count("right")} of ${book.exercises.length}`;
  for (const text of [book.minutes || "", right, words(book)]) row.insertCell().textContent = text;
  return row;
};

// How far each workbook is, from what this browser keeps; what comes next; what lies beside the series.
const showBooks = async () => {
  const [list, mine] = await Promise.all([
    fetch(new URL("lessonkit/books.json", BASE)).then((answer) => answer.json()),
    kept(),
  ]);
  const books = list.books.map((book) => progressOf(book, mine.get(book.file)));
  part("list").replaceChildren(...books.map(rowOf));
  const [first, ...rest] = nextWords(books);
  const strong = document.createElement("strong");
  strong.textContent = first;
  part("next").replaceChildren(strong, ...rest.map((one) => (one.text ? linkTo(one.file, one.text, one.cell) : one)));
  part("more").hidden = !list.more.length;
  part("more-list").replaceChildren(
    ...list.more.map(({ file, title }) => {
      const line = document.createElement("li");
      line.append(linkTo(file, title));
      return line;
    }),
  );
};

const showWho = async (room) => {
  const { id, name } = student();
  const looking = remembered("looking");
  part("who").hidden = !room || Boolean(id) || looking === true;
  part("books").hidden = Boolean(room) && !id && looking !== true;
  part("name-form").hidden = !room?.typed;
  part("me").hidden = !room || (!id && !looking);
  part("me-name").textContent = id ? name || "whoever this link was made for" : "a visitor, with everyone's numbers";
  await showBooks();
};

const main = async () => {
  const later = keepForLater();
  part("no-keeping").hidden = await keeps();
  const room = await classRoom().catch(() => null);
  const link = new URLSearchParams(location.hash.slice(1)).get("me");
  if (room && link) {
    if (!(await take(link, ""))) part("who-said").textContent = "That link belongs to nobody in this class.";
    history.replaceState(null, "", location.pathname);
  }
  await showWho(room);
  // Whoever comes back from a workbook, in this tab or another, finds it as it is now.
  document.addEventListener("visibilitychange", () => document.hidden || showBooks());
  window.addEventListener("pageshow", (event) => event.persisted && showBooks());
  part("name-form").addEventListener("submit", async (event) => {
    event.preventDefault();
    const name = part("name").value.trim();
    part("who-said").textContent = "looking you up";
    await new Promise((done) => setTimeout(done, 30)); // let the words be seen first
    if (await take(keyOf(name, room.salt, room.rounds), name)) {
      part("who-said").textContent = "";
      await showWho(room);
    } else {
      part("who-said").textContent = `There is no ${name} on the roster; write it as your school does.`;
    }
  });
  part("just-look").addEventListener("click", async () => {
    remember("looking", true);
    await showWho(room);
  });
  part("not-me").addEventListener("click", async () => {
    remember("student", null);
    remember("looking", null);
    await showWho(room);
  });
  part("download").addEventListener("click", async () => {
    const { name } = student();
    const given = name || window.prompt("Your name, for the file (may be left empty):", "") || "";
    await download(given);
  });
  // Fetch Python while the list is read; the browser keeps it for the workbook.
  await later;
  await navigator.serviceWorker?.ready?.catch?.(() => {});
  const { runtime } = await (await fetch(new URL("lessonkit/runtime.json", BASE))).json();
  for (const file of runtime) await fetch(new URL(file, BASE)).then((a) => a.arrayBuffer()).catch(() => {});
  part("loading").textContent = "Python is here and will start quickly.";
};

main();
