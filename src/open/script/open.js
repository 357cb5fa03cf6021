// The page: what the program tells is shown, what is done here is told.

import { choose, enableChoosing, showEffects, showThings } from "./chosen.js";
import { enableDragging, isDragging, outlineBefore } from "./drag.js";
import { closerBy, machineListing, memberAt, passMachine, showFlags, showMachine } from "./machine.js";
import { showProblems } from "./problems.js";
import { enableQuestions, showAnswer } from "./questions.js";
import { follow, get, post } from "./server.js";
import { enableSketches } from "./sketches.js";
import { enableText, isUnsaved, revision, settle, takeRevision, takeText } from "./text.js";

const HOVER = 250;

const at = (id) => document.querySelector(`#${id}`);
const words = (name) => name.replaceAll("_", " ");
const now = {};

const show = (id, isShown) => { at(id).hidden = !isShown; };

const notice = (text, ...buttons) => {
  at("notice").replaceChildren(text, ...buttons);
  show("notice", text !== "");
};

const button = (text, act) => {
  const made = Object.assign(document.createElement("button"), { type: "button", textContent: text });
  made.addEventListener("click", () => {
    notice("");
    act();
  });
  return made;
};

const STAGES = {
  none: "", reading: "reading …", stated: "stated values; draws run …", done: "", wrong: "does not stand as it is",
  broken: "the program failed at this design; change it, and it is answered again",
};

const showState = () => {
  const kept = isUnsaved() ? "what is typed is not saved yet" : `saved in ${now.sheet?.file ?? ""}`;
  const parts = now.lost ? ["the program has ended; what was saved is in the file"] : [kept, STAGES[now.stage?.name]];
  at("state").textContent = now.sheet ? parts.filter(Boolean).join(" · ") : "";
  const isStale = ["reading", "wrong", "broken"].includes(now.stage?.name);
  for (const id of ["verdict", "scores"]) at(id).classList.toggle("waits", isStale || Boolean(now.lost));
};

// Tells why something was not done.
const tell = (status, said) => {
  showState();
  if (!status || status === 200) return notice("");
  return notice(said.problem ? `${said.problem.message}. ${said.problem.help ?? ""}` : said.why);
};

const tellText = (status, said) => {
  showState();
  if (status !== 409) return tell(status, said);
  return notice(
    "The file was changed while you typed.",
    button("Take the file's", () => settle(true, tellText)),
    button("Keep what I typed", () => settle(false, tellText)),
  );
};

const act = async (path, body) => {
  const { status, said } = await post(path, { from: revision(), ...body });
  if (status === 200) takeRevision(said.revision);
  tell(status, said);
};

const write = (change) => act("change", { change });

const showLive = (rows) => {
  show("live", Boolean(rows));
  at("live").replaceChildren(...(rows ?? []).map(({ title, value, met }) => {
    const item = document.createElement("li");
    item.textContent = `${title} ${value} `;
    if (met !== null) {
      const mark = Object.assign(document.createElement("span"), {
        className: met ? "met" : "missed", textContent: met ? "✓" : "✗", title: met ? "met" : "missed",
      });
      mark.setAttribute("role", "img");
      mark.setAttribute("aria-label", mark.title);
      item.append(mark);
    }
    return item;
  }));
};

const showSheet = (sheet) => {
  show("begin", !sheet);
  show("work", Boolean(sheet));
  if (!sheet) {
    enableSketches(tell);
    return;
  }
  at("file").textContent = sheet.file;
  at("undo").disabled = !sheet.undo;
  at("redo").disabled = !sheet.redo;
  if (takeText(sheet)) tellText(409);
};

const mend = (number) => act("mend", { number });

// A drawing that comes while a point is dragged waits until it is let go.
let waiting = null;
const showDrawn = (fields) => {
  if (isDragging()) {
    if (fields.figure) waiting = { figure: now.figure, listing: now.listing };
    return;
  }
  waiting = null;
  if (fields.figure) showMachine(fields.figure, now.listing);
  if (fields.figure || fields.problems) showFlags(now.problems ?? []);
  if (!fields.listing) return;
  at("build").replaceChildren(...now.listing.builds.map(({ name, label }) =>
    new Option(label, name, false, name === now.listing.build)));
  showThings(now.listing);
};

const onFields = (fields) => {
  Object.assign(now, fields);
  if ("sheet" in fields) showSheet(fields.sheet);
  if ("title" in fields) {
    at("title").textContent = fields.title;
    document.title = `${fields.title}: Stillbed`;
  }
  if ("verdict" in fields) at("verdict").textContent = fields.verdict;
  if ("scores" in fields) {
    at("scores").innerHTML = fields.scores;
    at("said").innerHTML = now.said;
  }
  if ("problems" in fields) showProblems(fields.problems, mend);
  showDrawn(fields);
  if (fields.passing && isDragging()) passMachine(fields.passing, outlineBefore());
  if ("live" in fields) showLive(fields.live);
  if ("effects" in fields) {
    showEffects(fields.effects);
    showPointed();
  }
  if ("question" in fields) showAnswer(fields.question, () => act("adopt", {}));
  showState();
};

// The member under the pointer, with the slopes of its section.
let pointed = null;
const showPointed = () => {
  const { effects } = now;
  const isOf = pointed && effects?.about.wanted === "slopes" && effects.about.section === pointed.section;
  const rows = isOf ? effects.rows : [];
  const told = rows.map(({ name, effect }) => `${name}: ${effect}`).join("; ");
  at("pointed").textContent = pointed ? `${words(pointed.name)}. ${told}` : "";
};

const enablePointing = () => {
  const holder = at("figure");
  let timer = 0;
  let pressed = null;
  holder.addEventListener("pointermove", (event) => {
    const svg = event.target.closest("svg");
    if (!svg || event.buttons || isDragging()) return;
    const member = event.target.closest(".handle") ? null : memberAt(svg, event);
    if (member?.name === pointed?.name) return;
    pointed = member;
    showPointed();
    clearTimeout(timer);
    if (!member || isUnsaved()) return;
    const wanted = { kind: "slopes", build: machineListing().build, section: member.section };
    timer = setTimeout(() => post("effects", wanted), HOVER);
  });
  holder.addEventListener("pointerdown", (event) => { pressed = [event.clientX, event.clientY]; });
  holder.addEventListener("click", (event) => {
    const svg = event.target.closest("svg");
    const isTurned = pressed && Math.hypot(event.clientX - pressed[0], event.clientY - pressed[1]) > 4;
    if (!svg || isTurned || event.target.closest(".handle")) return;
    const member = memberAt(svg, event);
    if (member) choose("member", member.name);
  });
};

const enableKeys = () => {
  addEventListener("keydown", (event) => {
    if (!(event.ctrlKey || event.metaKey) || event.key.toLowerCase() !== "z") return;
    // A field that is being typed in undoes its own typing, unless it is the text of the design and saved.
    const isField = event.target.matches("input, textarea") && (event.target.id !== "text" || isUnsaved());
    if (isField) return;
    event.preventDefault();
    act("step", { back: !event.shiftKey });
  });
  at("figure").addEventListener("keydown", (event) => {
    const factor = { "+": 1.25, "=": 1.25, "-": 0.8 }[event.key];
    if (factor) closerBy(factor);
  });
};

at("undo").addEventListener("click", () => act("step", { back: true }));
at("redo").addEventListener("click", () => act("step", { back: false }));
at("closer").addEventListener("click", () => closerBy(1.25));
at("further").addEventListener("click", () => closerBy(0.8));
at("build").addEventListener("change", ({ target }) => post("build", target.value));
enableText(tellText);
at("text").addEventListener("input", showState);
enableDragging({
  write,
  choose: (name) => choose("point", name),
  settled: () => { if (waiting) showDrawn(waiting); },
  tell: (name, axis, to) => { at("pointed").textContent = `${words(name)} along ${axis}: ${to.join(", ")} mm`; },
});
enablePointing();
enableKeys();
enableQuestions();
enableChoosing(await get("materials"), write);
follow(onFields, (isLost) => {
  now.lost = isLost;
  showState();
});
