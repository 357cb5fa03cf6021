// The machine as it is drawn: its view kept when it is drawn anew, with what can be dragged, what is wrong, and what
// the pointer is over.

import { make, pointerAt } from "./drawing.js";
import { enableFigure } from "./figure.js";
import { inMetres } from "./motion.js";

const NEAR = 14;
const MOST_CLOSER = 8;

const holder = document.querySelector("#figure");

let view = null;
let listing = null;

export const machineView = () => view;
export const machineListing = () => listing;

// Elements that move with the places of the drawing, made before the drawing finds them.
const addHandles = () => {
  // An image has no parts that can be reached.
  holder.querySelectorAll("svg").forEach((svg) => svg.setAttribute("role", "group"));
  for (const turns of holder.querySelectorAll(".turns")) {
    for (const point of listing.points) {
      if (point.place === null) continue;
      const handle = make("g", { class: "handle", "data-point": point.place, tabindex: 0, role: "button" }, turns);
      handle.dataset.name = point.name;
      handle.setAttribute("aria-label", `point ${point.name.replaceAll("_", " ")}: choose it, or drag it`);
      make("circle", { class: "reach", r: 13 }, handle);
      make("circle", { r: 4.5 }, handle);
    }
  }
};

const dropFlags = (s) => {
  s.svg.querySelectorAll(".flag").forEach((flag) => flag.remove());
  s.placed = s.placed.filter((own) => own.isConnected);
};

// Marks what is wrong or doubtful at its place, in place of earlier marks.
export const showFlags = (problems) => {
  for (const s of view?.sheets ?? []) {
    const turns = s.svg.querySelector(".turns");
    dropFlags(s);
    for (const problem of problems) {
      if (problem.place === null) continue;
      const flag = make("g", { class: `flag ${problem.severity}`, "data-point": problem.place }, turns);
      make("circle", { cx: 11, cy: -11, r: 8 }, flag);
      make("text", { x: 11, y: -7, "text-anchor": "middle", "font-size": 12 }, flag).textContent = "!";
      make("title", {}, flag).textContent = [problem.message, problem.help].filter(Boolean).join("; ");
      s.placed.push(flag);
    }
  }
  view?.draw();
};

// Shows a machine drawn anew from the same side.
export const showMachine = (html, drawn) => {
  const before = view;
  const focused = document.activeElement?.closest?.(".handle")?.dataset.name;
  const motion = holder.querySelector("[data-motion]")?.value;
  holder.innerHTML = html;
  listing = drawn;
  addHandles();
  view = enableFigure(holder.querySelector("figure"));
  if (!view) return;
  if (before) Object.assign(view, { turn: before.turn, rise: before.rise, closer: before.closer });
  const chosen = holder.querySelector("[data-motion]");
  if (chosen && motion && [...chosen.options].some((option) => option.value === motion)) chosen.value = motion;
  view.choose(chosen?.value ?? "");
  if (focused) visibleHandle(focused)?.focus();
};

export const visibleHandle = (name) => {
  const handles = [...holder.querySelectorAll(".handle")].filter((handle) => handle.dataset.name === name);
  return handles.find((handle) => handle.closest(".sheet").offsetParent !== null);
};

// Shows the machine while a gesture lasts, with `was` as a dashed outline.
export const passMachine = ({ machine, listing: drawn, tool, work, held }, was) => {
  if (!view) return;
  view.sheets.forEach(dropFlags);
  const places = new Map(drawn.points.map((point) => [point.name, point.place]));
  holder.querySelectorAll(".handle").forEach((handle) => { handle.dataset.point = places.get(handle.dataset.name); });
  for (const turns of holder.querySelectorAll(".turns")) {
    const marks = [...turns.querySelectorAll(".mark[data-point]")];
    const feet = [...held];
    for (const mark of marks) {
      const place = mark.matches(".tool") ? tool : mark.matches(".work") ? work : feet.shift();
      if (place !== undefined && place !== null) mark.dataset.point = place;
    }
  }
  const { points, lines, faces, divides, normals, names, motions } = inMetres(machine);
  view.replace({ points, lines, faces, divides, normals, names, motions }, was);
};

export const closerBy = (factor) => {
  if (!view) return;
  view.closer = Math.min(MOST_CLOSER, Math.max(1 / MOST_CLOSER, view.closer * factor));
  view.draw();
};

const distance = ([x, y], [ax, ay], [bx, by]) => {
  const [dx, dy] = [bx - ax, by - ay];
  const t = Math.min(1, Math.max(0, ((x - ax) * dx + (y - ay) * dy) / (dx * dx + dy * dy || 1)));
  return Math.hypot(x - ax - t * dx, y - ay - t * dy);
};

// The member under the pointer, or null.
export const memberAt = (svg, event) => {
  const s = view?.sheets.find((own) => own.svg === svg);
  if (!s) return null;
  const pointer = pointerAt(svg, event);
  let [found, least] = [null, NEAR];
  for (const member of listing.members) {
    const through = view.data.lines[member.line] ?? [];
    const at = through.map((point) => view.place(s, view.data.points[point]).map(Number));
    for (let i = 1; i < at.length; i++) {
      const far = distance(pointer, at[i - 1], at[i]);
      if (far < least) [found, least] = [member, far];
    }
  }
  return found;
};
