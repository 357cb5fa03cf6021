// Names beside a machine, each with a line to its point, as the drawing without script has them (svg/names.rs).

import { make } from "./drawing.js";

const LINE = 14;
const GAP = 5;
const OFF = 16;
const COMPASS = 92;

// Text cut to `room`, at the usual width of a letter.
const cut = (text, room) =>
  7 * text.length <= room ? text : `${text.slice(0, Math.floor((room - 14) / 7)).trimEnd()}…`;

// Text, place and side of the names whose points are `at` these places; those that come later in the list are left
// out where there is no room.
const placeNames = (names, at, [margin, room, height, isBrief]) => {
  const across = at.map(([x]) => Number(x));
  const [low, high] = [Math.min(...across), Math.max(...across)];
  // Room for the machine to move.
  const sway = 0.05 * (high - low);
  const [left, right] = [Math.max(margin, low - sway), Math.min(room - margin, high + sway)];
  const sides = [[], []];
  const rooms = [height - COMPASS, height];
  for (const [point, matters, ...lines] of names) {
    if (isBrief && !matters) continue;
    const tall = LINE * lines.length + GAP;
    const [x, y] = at[point].map(Number);
    const first = 2 * x > left + right ? 1 : 0;
    const side = [first, 1 - first].find((n) => sides[n].reduce((sum, own) => sum + own.tall, 0) + tall <= rooms[n]);
    if (side !== undefined) sides[side].push({ point, lines, tall, y });
  }
  return sides.flatMap((side, n) => {
    side.sort((a, b) => a.y - b.y);
    let free = 0;
    for (const own of side) {
      own.top = Math.max(free, own.y - own.tall / 2);
      free = own.top + own.tall;
    }
    let end = rooms[n];
    for (const own of side.toReversed()) {
      own.top = Math.min(own.top, end - own.tall);
      end = own.top;
    }
    return side.map((own) => ({ ...own, isLeft: n === 0, x: n === 0 ? left - OFF : right + OFF }));
  });
};

// Draws the names into `group`, placed by the points at `rest`; gives what leads them to points that move.
export const showNames = (group, names, rest, frame, colours) => {
  group.replaceChildren();
  const leaders = placeNames(names, rest, frame).map((own) => {
    const y = own.top + LINE - 2;
    const leader = make("path", { class: "leader", stroke: colours.quiet, "stroke-width": 0.8 }, group);
    const end = make("circle", { class: "dot", r: 2, fill: colours.ink }, group);
    const placed = { class: "name", x: own.x, y, "text-anchor": own.isLeft ? "end" : "start", fill: colours.ink };
    const text = make("text", placed, group);
    own.lines.forEach((line, i) => {
      const attributes = i > 0 ? { x: own.x, dy: LINE, class: "quiet" } : { x: own.x };
      make("tspan", attributes, text).textContent = cut(line, frame[0] - 18);
    });
    return { point: own.point, leader, end, from: `M${own.x + (own.isLeft ? 4 : -4)} ${y - 4}` };
  });
  return (at) => {
    for (const { point, leader, end, from } of leaders) {
      const [x, y] = at[point];
      leader.setAttribute("d", `${from}L${x} ${y}`);
      end.setAttribute("cx", x);
      end.setAttribute("cy", y);
    }
  };
};
