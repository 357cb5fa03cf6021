// Reads values off a curve and shows a stretch of it closer, by pointer, keys and buttons.

import { curveView } from "./curve.js";
import { clamp, onKeys, pointerAt } from "./drawing.js";

const actionsOn = (view) => {
  const zoomTo = (from, to) => {
    const span = clamp(to - from, 1e-4, 1);
    view.from = clamp(from, 0, 1 - span);
    view.to = view.from + span;
    if (view.at !== null) view.at = clamp(view.at, view.from, view.to);
    view.show();
  };
  const zoomBy = (factor) => {
    const about = view.at ?? (view.from + view.to) / 2;
    zoomTo(about - (about - view.from) * factor, about + (view.to - about) * factor);
  };
  const moveTo = (fraction) => {
    view.at = clamp(fraction, 0, 1);
    const span = view.to - view.from;
    if (view.at < view.from) zoomTo(view.at, view.at + span);
    else if (view.at > view.to) zoomTo(view.at - span, view.at);
    else view.showCursor();
  };
  return { zoomTo, zoomBy, moveTo };
};

const byPointer = (view, s, { zoomTo, moveTo }) => {
  const at = (event) => {
    const u = (pointerAt(s.svg, event)[0] - s.left) / s.width;
    return view.from + clamp(u, 0, 1) * (view.to - view.from);
  };
  // The end of the chosen stretch at which the pointer went down.
  let start = null;
  s.svg.classList.add("reads");
  s.svg.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "mouse" && event.button === 0) start = at(event);
    moveTo(at(event));
  });
  s.svg.addEventListener("pointermove", (event) => {
    moveTo(at(event));
    if (start === null) return;
    const [a, b] = [view.across(s, Math.min(start, at(event))), view.across(s, Math.max(start, at(event)))];
    s.chosen.setAttribute("x", a);
    s.chosen.setAttribute("width", b - a);
    s.chosen.setAttribute("visibility", "visible");
  });
  const end = (event) => {
    s.chosen.setAttribute("visibility", "hidden");
    if (start === null) return;
    const [a, b] = [Math.min(start, at(event)), Math.max(start, at(event))];
    start = null;
    if (event.type === "pointerup" && view.across(s, b) - view.across(s, a) > 8) zoomTo(a, b);
  };
  s.svg.addEventListener("pointerup", end);
  s.svg.addEventListener("pointercancel", end);
  s.svg.addEventListener("pointerleave", (event) => {
    end(event);
    if (event.pointerType !== "mouse" || document.activeElement === s.sheet) return;
    view.at = null;
    view.showCursor();
  });
  s.svg.addEventListener("dblclick", () => zoomTo(0, 1));
};

const keysOf = (view, { zoomTo, zoomBy, moveTo }) => (event) => {
  const span = view.to - view.from;
  const step = span * (event.shiftKey ? 0.1 : 0.01);
  const here = view.at ?? (view.from + view.to) / 2;
  return {
    ArrowLeft: () => moveTo(here - step),
    ArrowRight: () => moveTo(here + step),
    Home: () => moveTo(view.from),
    End: () => moveTo(view.to),
    PageUp: () => zoomTo(view.from - span / 2, view.to - span / 2),
    PageDown: () => zoomTo(view.from + span / 2, view.to + span / 2),
    "+": () => zoomBy(0.5),
    "=": () => zoomBy(0.5),
    "-": () => zoomBy(2),
    0: () => zoomTo(0, 1),
    Escape: () => {
      view.at = null;
      zoomTo(0, 1);
    },
  };
};

export const enableCurve = (figure, data) => {
  const view = curveView(figure, data);
  const actions = actionsOn(view);
  const label =
    `${data.y.title} over ${data.x.title}: arrow keys read values, plus and minus zoom, 0 shows the whole`;
  for (const s of view.sheets) {
    onKeys(s.sheet, label, keysOf(view, actions));
    byPointer(view, s, actions);
  }
  const buttons = {
    in: () => actions.zoomBy(0.5),
    out: () => actions.zoomBy(2),
    all: () => actions.zoomTo(0, 1),
  };
  for (const button of figure.querySelectorAll("[data-zoom]")) {
    button.addEventListener("click", buttons[button.dataset.zoom]);
  }
};
