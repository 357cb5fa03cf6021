// A machine as it is shown: turned, and displaced by one of its motions.

import { showNames } from "./names.js";
import { amplitudesOf, byAmplitude, displaced, pivot, projected, towardsViewer } from "./projection.js";
import { facesMarkup } from "./surface.js";

// The parts of one version of the drawing that change; null where nothing is drawn.
const frameSheet = (sheet) => {
  const svg = sheet.querySelector("svg");
  const turns = svg.querySelector(".turns");
  return turns && {
    sheet, svg,
    scale: Number(turns.dataset.scale),
    middle: turns.dataset.middle.split(" ").map(Number),
    frame: turns.dataset.names.split(" ").map(Number),
    ghost: turns.querySelector(".ghost"),
    faces: turns.querySelector(".faces"),
    names: turns.querySelector(".names"),
    placed: [...turns.querySelectorAll("[data-point]")],
    rows: [...svg.querySelectorAll("[data-row]")],
    key: svg.querySelector(".key"),
    compassLines: svg.querySelectorAll(".compass line"),
    compassNames: svg.querySelectorAll(".compass text"),
  };
};

const pathOf = (lines, at) => lines
  .map((line) => line.filter((p) => at[p]).map((p, i) => `${i ? "L" : "M"}${at[p].join(" ")}`).join(""))
  .join("");

// The lines of a machine without faces.
const linesMarkup = (data, motion, at) => {
  const { lines, amplitudes } = data.colours;
  const path = (kind, stroke, width, d) => `<path ${kind} stroke="${stroke}" stroke-width="${width}" d="${d}"/>`;
  if (!motion) return path(`class="member s0"`, lines[0], 2.4, pathOf(data.lines, at));
  return byAmplitude(data, motion, 6)
    .map((pairs, step) =>
      path(`class="a${step}" data-step="${step}"`, amplitudes[step], 2 + 0.6 * step, pathOf(pairs, at)))
    .join("");
};

const showCompass = (s, turn, rise) => {
  [[1, 0, 0], [0, 1, 0], [0, 0, 1]].forEach((axis, i) => {
    const [u, v] = projected(axis, turn, rise);
    s.compassLines[i].setAttribute("x2", 26 * u);
    s.compassLines[i].setAttribute("y2", -26 * v);
    s.compassNames[i].setAttribute("x", 36 * u);
    s.compassNames[i].setAttribute("y", 4 - 36 * v);
  });
};

// The drawings of a machine; null if it cannot be drawn. `part` is the part of the motion, from -1 to 1, at
// which the machine is shown.
export const frameView = (figure, data) => {
  const sheets = [...figure.querySelectorAll(".sheet")].map(frameSheet).filter(Boolean);
  if (!sheets.length || !data.points.every((p) => p.every(Number.isFinite))) return null;
  const view = { sheets, data, turn: data.turn, rise: data.rise, closer: 1, motion: null, amplitudes: null, part: 1 };
  const { centre, held } = pivot(data);

  const place = (s, p) => {
    const [u, v] = projected(p.map((value, i) => value - centre[i]), view.turn, view.rise);
    const scale = s.scale * view.closer;
    return [(s.middle[0] + (u + held[0]) * scale).toFixed(1), (s.middle[1] - (v + held[1]) * scale).toFixed(1)];
  };

  const showSheet = (s, points) => {
    const at = points.map((p) => place(s, p));
    if (s.isTurned) {
      const rest = data.points.map((p) => place(s, p));
      s.lead = showNames(s.names, data.names, rest, s.frame, data.colours);
      const was = view.was ?? (view.motion ? data : { lines: [], points: [] });
      // What was there before lies over what is there now.
      if (view.was) s.faces.after(s.ghost);
      s.ghost.setAttribute("d", pathOf(was.lines, was.points.map((p) => place(s, p))));
      showCompass(s, view.turn, view.rise);
      s.isTurned = false;
    }
    s.lead(at);
    s.faces.innerHTML = data.faces.length
      ? facesMarkup(data, at, towardsViewer(view.turn, view.rise), view.amplitudes)
      : linesMarkup(data, view.motion, at);
    for (const element of s.placed) {
      const p = at[Number(element.dataset.point)];
      if (p) element.setAttribute("transform", `translate(${p[0]} ${p[1]})`);
    }
  };

  // Shows the machine at its part of the motion; `isMoving` while it is shown many times a second.
  view.draw = (isMoving = false) => {
    const points = displaced(data, view.motion, view.part);
    for (const s of sheets) {
      if (!isMoving) s.isTurned = true;
      if (!isMoving || s.sheet.offsetParent !== null) showSheet(s, points);
    }
  };

  // Shows the machine as drawn anew, at rest, with `was` as a dashed outline.
  view.replace = (other, was) => {
    Object.assign(data, other);
    Object.assign(view, { was, motion: null, amplitudes: null });
    view.draw();
  };

  // Where a point in space is seen in a version of the drawing.
  view.place = place;

  // Shows the motion of this number at its largest displacement, or the machine at rest if it is empty.
  view.choose = (number) => {
    view.motion = number === "" ? null : data.motions[Number(number)] ?? null;
    view.amplitudes = view.motion && amplitudesOf(view.motion);
    view.part = 1;
    for (const s of sheets) {
      s.key?.setAttribute("visibility", view.motion ? "visible" : "hidden");
      s.rows.forEach((row, i) => row.classList.toggle("chosen", data.motions[i] === view.motion));
    }
    view.draw();
  };
  return view;
};
