// A frame as it is shown: turned, and displaced by one of its motions.

import { byAmplitude, displaced, pivot, projected } from "./projection.js";

// The parts of one version of the drawing that change; null where nothing is drawn.
const frameSheet = (sheet) => {
  const svg = sheet.querySelector("svg");
  const turns = svg.querySelector(".turns");
  return turns && {
    sheet, svg,
    scale: Number(turns.dataset.scale),
    middle: turns.dataset.middle.split(" ").map(Number),
    ghost: turns.querySelector(".ghost"),
    still: turns.querySelector(".member"),
    steps: [...turns.querySelectorAll("[data-step]")],
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

const pathOfSegments = (segments, at) => segments
  .filter(([a, b]) => at[a] && at[b])
  .map(([a, b]) => `M${at[a].join(" ")}L${at[b].join(" ")}`)
  .join("");

const showCompass = (s, turn, rise) => {
  [[1, 0, 0], [0, 1, 0], [0, 0, 1]].forEach((axis, i) => {
    const [u, v] = projected(axis, turn, rise);
    s.compassLines[i].setAttribute("x2", 26 * u);
    s.compassLines[i].setAttribute("y2", -26 * v);
    s.compassNames[i].setAttribute("x", 36 * u);
    s.compassNames[i].setAttribute("y", 4 - 36 * v);
  });
};

// The drawings of a frame; null if it cannot be drawn. `part` is the part of the motion, from -1 to 1, at
// which the frame is shown.
export const frameView = (figure, data) => {
  const sheets = [...figure.querySelectorAll(".sheet")].map(frameSheet).filter(Boolean);
  if (!sheets.length || !data.points.every((p) => p.every(Number.isFinite))) return null;
  const view = { sheets, turn: data.turn, rise: data.rise, motion: null, segments: [], part: 1 };
  const { centre, held } = pivot(data);

  const place = (s, p) => {
    const [u, v] = projected(p.map((value, i) => value - centre[i]), view.turn, view.rise);
    return [
      (s.middle[0] + (u + held[0]) * s.scale).toFixed(1),
      (s.middle[1] - (v + held[1]) * s.scale).toFixed(1),
    ];
  };

  view.draw = () => {
    const points = displaced(data, view.motion, view.part);
    for (const s of sheets) {
      const at = points.map((p) => place(s, p));
      const rest = () => data.points.map((p) => place(s, p));
      s.still.setAttribute("d", view.motion ? "" : pathOf(data.lines, at));
      s.ghost.setAttribute("d", view.motion ? pathOf(data.lines, rest()) : "");
      s.steps.forEach((path, step) => path.setAttribute("d", pathOfSegments(view.segments[step], at)));
      s.key?.setAttribute("visibility", view.motion ? "visible" : "hidden");
      s.rows.forEach((row, i) => row.classList.toggle("chosen", data.motions[i] === view.motion));
      for (const element of s.placed) {
        const p = at[Number(element.dataset.point)];
        if (p) element.setAttribute("transform", `translate(${p[0]} ${p[1]})`);
      }
      showCompass(s, view.turn, view.rise);
    }
  };

  // Shows the motion of this number at its largest displacement, or the frame at rest if it is empty.
  view.choose = (number) => {
    view.motion = number === "" ? null : data.motions[Number(number)] ?? null;
    view.segments = byAmplitude(data, view.motion, sheets[0].steps.length);
    view.part = 1;
    view.draw();
  };
  return view;
};
