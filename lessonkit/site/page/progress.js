// How far each workbook is, read from the cells that the browser keeps. It is what `lk.progress()` does with a folder,
// in the same words (lessonkit/exercises/progress.py and start_page.py): nothing is run here, and nothing is judged.

const text = (source) => (Array.isArray(source) ? source.join("") : source || "");

// What is between quotes, and behind a number sign.
const ASIDE = /"""[^]*?"""|'''[^]*?'''|"(?:\\.|[^"\\\n])*"|'(?:\\.|[^'\\\n])*'|#[^\n]*/g;

// An answer that still has a place with three dots, as it was handed out.
const isOpen = (source) => {
  const answer = source.replace(ASIDE, (one) => (one[0] === "#" ? "" : '""')).split(/^(?=answer_\w+\s*=)/m);
  return answer.some((part) => part.startsWith("answer_") && part.includes("..."));
};

const stateOf = (answer, said) => {
  if (answer === undefined || isOpen(answer)) return "open";
  const [, verdict] = said.match(/^[\w.]+ (right|not yet|unanswered|unreadable|noted)\b/) || [];
  if (!verdict || verdict === "unanswered") return "written";
  return verdict === "unreadable" ? "not yet" : verdict;
};

// The states of a workbook's exercises by number, and its predictions. `sheet` is what is kept of it, if anything.
export const progressOf = (book, sheet) => {
  const written = new Map();
  const said = new Map();
  let [predicted, predictions] = [0, 0];
  for (const cell of sheet?.cells || []) {
    if (cell.cell_type !== "code") continue;
    const source = text(cell.source);
    for (const [, name] of source.matchAll(/^answer_(\w+?)\s*=/gm)) written.set(name.replaceAll("_", "."), source);
    const check = source.match(/\bcheck\(\s*["']([\w.]+)["']/);
    if (check) said.set(check[1], (cell.outputs || []).map((output) => text(output.text)).join(""));
    for (const [, guess] of source.matchAll(/^prediction_\w+\s*=\s*(.*)$/gm)) {
      predictions += 1;
      predicted += !["...", ""].includes(guess.trim());
    }
  }
  const states = new Map(book.exercises.map((number) => [number, stateOf(written.get(number), said.get(number) || "")]));
  const count = (state) => [...states.values()].filter((one) => one === state).length;
  return {
    ...book,
    count,
    predicted,
    predictions,
    first: (state) => [...states].find(([, one]) => one === state)?.[0],
    begun: predicted > 0 || count("open") < states.size,
    done: states.size > 0 && (count("right") === states.size || count("noted") === states.size),
  };
};

// How far, in a few words.
export const words = (book) => {
  if (book.done) return book.count("noted") ? "all noted" : "all right";
  if (!book.begun) return "not begun";
  const said = book.predictions ? [`${book.predicted} of ${book.predictions} predictions written`] : [];
  const kinds = [["noted", "noted"], ["not yet", "not yet right"], ["written", "to check"], ["open", "open"]];
  for (const [state, name] of kinds) if (book.count(state)) said.push(`${book.count(state)} ${name}`);
  return said.join(", ");
};

// What comes next: text, and links as {text, file, cell}. The first part stands out.
export const nextWords = (books) => {
  const book = books.find((one) => !one.done);
  if (!book) {
    if (books.some((one) => one.count("noted"))) return ["All answers are noted.", " Now download them."];
    return ["All exercises of all workbooks are right.", " Well done."];
  }
  const link = { text: book.title, file: book.file };
  const time = book.minutes ? ` Time to expect: about ${book.minutes} minutes.` : "";
  if (!book.begun) return ["What next:", " begin ", link, `.${time}`];
  const [wrong, unseen, waiting] = ["not yet", "written", "open"].map(book.first);
  const first = wrong || unseen || waiting;
  const place = { text: `exercise ${first}`, file: book.file, cell: `ask-${first.replaceAll(".", "-")}` };
  if (wrong) return ["What next:", " look again at ", place, " in ", link, "; its hint says where."];
  if (unseen) return ["What next:", " run the check cell of ", place, " in ", link, "."];
  return ["What next:", " go on in ", link, ". The first open one is ", place, "."];
};
