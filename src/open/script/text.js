// The text of the design: typed, saved when typing rests, and followed when it changes elsewhere.

import { post } from "./server.js";

const REST = 350;
// A longer pause begins a new step of undo.
const BURST = 3000;

const area = document.querySelector("#text");
const lines = document.querySelector("#lines");

// Places of problems by line: the worse of two on one line.
let marks = new Map();
let shown = { text: "", revision: 0 };
let timer = 0;
let isSaving = false;
let savedAt = -Infinity;
// The text that was refused; it is not sent again as it stands.
let refused = null;

const isTyped = () => area.value !== shown.text;

const showLines = () => {
  const count = area.value.split("\n").length;
  lines.replaceChildren(...Array.from({ length: count }, (_, i) => {
    const number = document.createElement("span");
    number.textContent = String(i + 1);
    if (marks.has(i + 1)) number.className = marks.get(i + 1);
    return number;
  }));
  lines.scrollTop = area.scrollTop;
};

const save = async (tell) => {
  clearTimeout(timer);
  if (isSaving || !isTyped() || area.value === refused) return;
  isSaving = true;
  const text = area.value;
  const typing = performance.now() - savedAt < BURST;
  const { status, said } = await post("text", { from: shown.revision, text, typing });
  isSaving = false;
  savedAt = performance.now();
  if (status === 200) {
    shown = { text, revision: said.revision };
    refused = null;
    tell(null);
    if (isTyped()) save(tell);
  } else {
    refused = text;
    tell(status, said);
  }
};

// Begins to follow what is typed; `tell` hears whether it was saved.
export const enableText = (tell) => {
  area.addEventListener("input", () => {
    showLines();
    clearTimeout(timer);
    timer = setTimeout(() => save(tell), REST);
  });
  area.addEventListener("scroll", () => { lines.scrollTop = area.scrollTop; });
  area.addEventListener("blur", () => save(tell));
  addEventListener("beforeunload", (event) => {
    if (isTyped()) event.preventDefault();
  });
};

// Takes the text as it stands in the file; what was typed and is not saved stays. True where someone else changed the
// file meanwhile.
export const takeText = (sheet) => {
  const wasTyped = isTyped();
  const isOwn = area.value === sheet.text;
  const isNews = sheet.revision !== shown.revision && !isSaving;
  shown = { text: sheet.text, revision: sheet.revision };
  if (wasTyped && !isOwn) return isNews;
  if (!isOwn) {
    const { scrollTop, selectionStart, selectionEnd } = area;
    area.value = sheet.text;
    area.setSelectionRange(selectionStart, selectionEnd);
    area.scrollTop = scrollTop;
  }
  refused = null;
  showLines();
  return false;
};

// Drops what was typed for what stands in the file, or saves it over that.
export const settle = (takesFile, tell) => {
  refused = null;
  if (takesFile) {
    area.value = shown.text;
    showLines();
  } else {
    save(tell);
  }
};

// The number of the text that a gesture starts from: that which is shown, or what the last gesture made of it.
let made = 0;
export const revision = () => Math.max(shown.revision, made);
export const takeRevision = (number) => { made = number; };

// True where the text on the page is not yet that of the file.
export const isUnsaved = isTyped;

export const markLines = (problems) => {
  marks = new Map();
  for (const { line, severity } of problems) {
    if (line && marks.get(line) !== "error") marks.set(line, severity);
  }
  showLines();
};

// Puts the cursor at a place of the text.
export const goTo = (line, column) => {
  const before = area.value.split("\n").slice(0, line - 1).reduce((sum, own) => sum + own.length + 1, 0);
  area.focus();
  area.setSelectionRange(before + column - 1, before + column - 1);
  area.scrollTop = Math.max(0, (line - 6) * parseFloat(getComputedStyle(area).lineHeight));
};
