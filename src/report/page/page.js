
"use strict";
// Extends a page that is complete without it: reading values, zoom, turning, playing sound, saving.
(() => {
  const SVG = "http://www.w3.org/2000/svg";
  const calm = matchMedia("(prefers-reduced-motion: reduce)");

  const make = (name, attributes, parent) => {
    const element = document.createElementNS(SVG, name);
    for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
    if (parent) parent.append(element);
    return element;
  };
  const figure4 = (value) => String(Number(value.toPrecision(4)));
  const clamp = (value, low, high) => Math.min(high, Math.max(low, value));
  const visible = (figure) =>
    [...figure.querySelectorAll(".sheet")].find((sheet) => sheet.offsetParent !== null)
      ?? figure.querySelector(".sheet");
  // Position of the pointer in units of the drawing.
  const pointerAt = (svg, event) => {
    const box = svg.getBoundingClientRect();
    const view = svg.viewBox.baseVal;
    return [
      (event.clientX - box.left) * view.width / box.width,
      (event.clientY - box.top) * view.height / box.height,
    ];
  };

  // ---- saving ----

  const save = (name, type, text) => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([text], { type }));
    link.download = name;
    document.body.append(link);
    link.click();
    link.remove();
    setTimeout(() => URL.revokeObjectURL(link.href), 10000);
  };

  // The points of a curve in SI, as CSV.
  const values = (data) => {
    const quoted = (text) => /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
    const si = (v, axis) => String(Number((v * axis.size).toPrecision(6)));
    const rows = [`series,${data.x.key},${data.y.key}`];
    for (const series of data.series) {
      for (const p of series.points) {
        if (p) rows.push(`${quoted(series.name)},${si(p[0], data.x)},${si(p[1], data.y)}`);
      }
    }
    return rows.join("\r\n") + "\r\n";
  };

  const saving = (figure, data) => {
    const on = (kind, act) =>
      figure.querySelectorAll(`[data-save="${kind}"]`).forEach((b) => b.addEventListener("click", act));
    on("csv", () => save(`${data.file}.csv`, "text/csv;charset=utf-8", data.csv ?? values(data)));
    on("svg", () => {
      const drawing = visible(figure).querySelector("svg").cloneNode(true);
      drawing.querySelectorAll(".cursor, .chosen").forEach((extra) => extra.remove());
      // The saved drawing stands alone, so it gets its caption.
      const view = drawing.viewBox.baseVal;
      drawing.setAttribute("viewBox", `0 -30 ${view.width} ${view.height + 30}`);
      drawing.setAttribute("height", view.height + 30);
      make("text", { x: 2, y: -12, "font-size": 15, "font-weight": 600 }, drawing).textContent =
        figure.querySelector("figcaption").textContent;
      save(`${data.file}.svg`, "image/svg+xml", new XMLSerializer().serializeToString(drawing));
    });
  };

  // ---- curves ----

  // Round values from low to high; on a logarithmic axis powers of ten, with 2 and 5 between if few.
  const ticks = (low, high, log, count) => {
    if (log && high / low > 4) {
      const decades = Math.log10(high / low);
      const factors = 3 * decades <= count ? [1, 2, 5] : decades < 2 ? [1, 3] : [1];
      const every = Math.max(1, Math.ceil(decades / count));
      const found = [];
      for (let power = Math.floor(Math.log10(low)); power <= Math.log10(high); power++) {
        if (((power % every) + every) % every) continue;
        for (const f of factors) found.push(f * 10 ** power);
      }
      return found.filter((v) => v >= low * 0.999999 && v <= high * 1.000001);
    }
    const raw = (high - low) / count;
    const power = 10 ** Math.floor(Math.log10(raw));
    const step = [1, 2, 5, 10].find((f) => raw <= f * power * 1.0001) * power;
    const found = [];
    for (let i = Math.ceil(low / step - 1e-9); i <= high / step + 1e-9 && found.length < 50; i++) found.push(i * step);
    return found;
  };

  const fractionOf = (axis, v) =>
    axis.log ? Math.log(v / axis.low) / Math.log(axis.high / axis.low) : (v - axis.low) / (axis.high - axis.low);
  const valueAt = (axis, u) =>
    axis.log ? axis.low * (axis.high / axis.low) ** u : axis.low + u * (axis.high - axis.low);

  // The value of a series at x: interpolated on a line, or the nearest separate point.
  const read = (series, x, reach) => {
    const points = series.points;
    let best = null;
    for (let i = 0; i < points.length; i++) {
      const p = points[i];
      if (!p) continue;
      const q = points[i + 1];
      if (!series.scattered && q && p[0] <= x && x <= q[0] && q[0] > p[0]) {
        return p[1] + (x - p[0]) / (q[0] - p[0]) * (q[1] - p[1]);
      }
      if (!best || Math.abs(p[0] - x) < Math.abs(best[0] - x)) best = p;
    }
    return best && Math.abs(best[0] - x) <= reach ? best[1] : null;
  };

  const curve = (figure, data) => {
    const readout = figure.querySelector(".readout");
    const hint = "Point at the lines to read values; draw across a stretch to see it closer.";
    readout.hidden = false;
    readout.textContent = hint;
    const state = { from: 0, to: 1, at: null };
    const sheets = ["wide", "narrow"].map((kind) => {
      const sheet = figure.querySelector(`.sheet.${kind}`);
      const svg = sheet.querySelector("svg");
      const [left, top, width, height] = data[kind];
      return {
        sheet, svg, left, top, width, height,
        moves: svg.querySelector(".moves"),
        ticks: svg.querySelector(".x-ticks"),
        rides: svg.querySelectorAll("[data-at]"),
        chosen: make("rect", { class: "chosen", y: top, height, fill: "#56666e", "fill-opacity": 0.2, visibility: "hidden" }, svg),
        cursor: make("g", { class: "cursor", visibility: "hidden" }, svg),
        count: kind === "wide" ? 8 : 4,
      };
    });
    const across = (s, u) => s.left + (u - state.from) / (state.to - state.from) * s.width;

    const showAxis = (s) => {
      const low = valueAt(data.x, state.from);
      const high = valueAt(data.x, state.to);
      s.ticks.replaceChildren();
      for (const v of ticks(low, high, data.x.log, s.count)) {
        const x = across(s, fractionOf(data.x, v)).toFixed(1);
        make("line", { class: "grid", x1: x, x2: x, y1: s.top, y2: s.top + s.height, stroke: "#d5dde0" }, s.ticks);
        make("text", { x, y: s.top + s.height + 17, "text-anchor": "middle" }, s.ticks).textContent =
          String(Number(v.toPrecision(6)));
      }
      const k = 1 / (state.to - state.from);
      s.moves.setAttribute("transform", `translate(${s.left - k * s.left - k * state.from * s.width} 0) scale(${k} 1)`);
      for (const label of s.rides) {
        const x = across(s, Number(label.dataset.at));
        label.setAttribute("x", x.toFixed(1));
        label.setAttribute("visibility", x >= s.left && x <= s.left + s.width ? "visible" : "hidden");
      }
    };

    const showCursor = () => {
      const shown = state.at !== null;
      for (const s of sheets) {
        s.cursor.setAttribute("visibility", shown ? "visible" : "hidden");
        s.cursor.replaceChildren();
      }
      readout.textContent = hint;
      if (!shown) return;
      const x = valueAt(data.x, state.at);
      const reach = Math.abs(valueAt(data.x, Math.min(1, state.at + 0.01)) - x);
      const said = (axis, v) => `${figure4(v)} ${axis.unit}`.trim();
      const parts = [`${data.x.title} ${said(data.x, x)}`];
      const values = data.series.map((series) => read(series, x, reach));
      values.forEach((y, i) => {
        if (y !== null) parts.push(`${data.series[i].name || data.y.title}: ${said(data.y, y)}`);
      });
      readout.textContent = parts.join("  ·  ");
      for (const s of sheets) {
        const px = across(s, state.at);
        make("line", { x1: px, x2: px, y1: s.top, y2: s.top + s.height, class: "mark", stroke: "#1c2529" }, s.cursor);
        for (const y of values) {
          const v = y === null ? NaN : fractionOf(data.y, y);
          if (v >= 0 && v <= 1) {
            make("circle", { cx: px, cy: s.top + (1 - v) * s.height, r: 3.5, class: "mark dot", fill: "#1c2529" }, s.cursor);
          }
        }
      }
    };
    const show = () => { sheets.forEach(showAxis); showCursor(); };

    const zoomTo = (from, to) => {
      const span = clamp(to - from, 1e-4, 1);
      state.from = clamp(from, 0, 1 - span);
      state.to = state.from + span;
      if (state.at !== null) state.at = clamp(state.at, state.from, state.to);
      show();
    };
    const zoomBy = (factor) => {
      const about = state.at ?? (state.from + state.to) / 2;
      zoomTo(about - (about - state.from) * factor, about + (state.to - about) * factor);
    };
    const moveTo = (u) => {
      state.at = clamp(u, 0, 1);
      const span = state.to - state.from;
      if (state.at < state.from) return zoomTo(state.at, state.at + span);
      if (state.at > state.to) return zoomTo(state.at - span, state.at);
      showCursor();
    };

    for (const s of sheets) {
      const at = (event) => {
        const u = (pointerAt(s.svg, event)[0] - s.left) / s.width;
        return state.from + clamp(u, 0, 1) * (state.to - state.from);
      };
      let start = null;
      s.sheet.tabIndex = 0;
      s.sheet.setAttribute("role", "group");
      s.sheet.setAttribute("aria-label",
        `${data.y.title} over ${data.x.title}: arrow keys read values, plus and minus zoom, 0 shows the whole`);
      s.svg.classList.add("reads");
      s.svg.addEventListener("pointerdown", (event) => {
        if (event.pointerType === "mouse" && event.button === 0) start = at(event);
        moveTo(at(event));
      });
      s.svg.addEventListener("pointermove", (event) => {
        moveTo(at(event));
        if (start === null) return;
        const [a, b] = [across(s, Math.min(start, at(event))), across(s, Math.max(start, at(event)))];
        s.chosen.setAttribute("x", a);
        s.chosen.setAttribute("width", b - a);
        s.chosen.setAttribute("visibility", "visible");
      });
      const end = (event) => {
        s.chosen.setAttribute("visibility", "hidden");
        if (start === null) return;
        const [a, b] = [Math.min(start, at(event)), Math.max(start, at(event))];
        start = null;
        if (event.type === "pointerup" && across(s, b) - across(s, a) > 8) zoomTo(a, b);
      };
      s.svg.addEventListener("pointerup", end);
      s.svg.addEventListener("pointercancel", end);
      s.svg.addEventListener("pointerleave", (event) => {
        end(event);
        if (event.pointerType === "mouse" && document.activeElement !== s.sheet) { state.at = null; showCursor(); }
      });
      s.svg.addEventListener("dblclick", () => zoomTo(0, 1));
      s.sheet.addEventListener("keydown", (event) => {
        if (event.ctrlKey || event.metaKey || event.altKey) return;
        const span = state.to - state.from;
        const step = span * (event.shiftKey ? 0.1 : 0.01);
        const here = state.at ?? (state.from + state.to) / 2;
        const acts = {
          ArrowLeft: () => moveTo(here - step),
          ArrowRight: () => moveTo(here + step),
          Home: () => moveTo(state.from),
          End: () => moveTo(state.to),
          PageUp: () => zoomTo(state.from - span / 2, state.to - span / 2),
          PageDown: () => zoomTo(state.from + span / 2, state.to + span / 2),
          "+": () => zoomBy(0.5),
          "=": () => zoomBy(0.5),
          "-": () => zoomBy(2),
          0: () => zoomTo(0, 1),
          Escape: () => { state.at = null; zoomTo(0, 1); },
        };
        if (acts[event.key]) {
          event.preventDefault();
          acts[event.key]();
        }
      });
    }
    figure.querySelectorAll("[data-zoom]").forEach((button) => button.addEventListener("click", () => {
      const kind = button.dataset.zoom;
      if (kind === "all") zoomTo(0, 1); else zoomBy(kind === "in" ? 0.5 : 2);
    }));
  };

  // ---- wire drawings ----

  const wire = (figure, data) => {
    const known = data.points.every((p) => p.every(Number.isFinite));
    const sheets = [...figure.querySelectorAll(".sheet")].map((sheet) => {
      const svg = sheet.querySelector("svg");
      const turns = svg.querySelector(".turns");
      return turns && {
        sheet, svg, turns,
        scale: Number(turns.dataset.scale),
        middle: turns.dataset.middle.split(" ").map(Number),
        ghost: turns.querySelector(".ghost"),
        still: turns.querySelector(".member"),
        steps: [...turns.querySelectorAll("[data-step]")],
        placed: [...turns.querySelectorAll("[data-point]")],
        rows: [...svg.querySelectorAll("[data-row]")],
        key: svg.querySelector(".key"),
        compass: svg.querySelector(".compass"),
      };
    }).filter(Boolean);
    if (!known || !sheets.length) return;

    const state = { turn: data.turn, rise: data.rise, motion: null, stretches: [], part: 1, playing: false };
    const rad = (degrees) => degrees * Math.PI / 180;
    const seen = ([x, y, z], turn, rise) => {
      const [c, s] = [Math.cos(rad(turn)), Math.sin(rad(turn))];
      const [cr, sr] = [Math.cos(rad(rise)), Math.sin(rad(rise))];
      return [c * y - s * x, cr * z - sr * (c * x + s * y)];
    };
    const ends = (points, i) => {
      const values = points.map((p) => p[i]);
      return [Math.min(...values), Math.max(...values)];
    };
    const middle = (points, n) => [...Array(n).keys()].map((i) => (ends(points, i)[0] + ends(points, i)[1]) / 2);
    const centre = middle(data.points, 3);
    const size = Math.hypot(...[0, 1, 2].map((i) => ends(data.points, i)[1] - ends(data.points, i)[0]));
    // Keeps the centre where the drawing without script has it.
    const flat = middle(data.points.map((p) => seen(p, data.turn, data.rise)), 2);
    const held = seen(centre, data.turn, data.rise).map((v, i) => v - flat[i]);

    const moved = () => {
      if (!state.motion) return data.points;
      const largest = Math.max(...state.motion.shape.map((d) => Math.hypot(...d))) || 1;
      const k = 0.1 * size / largest * state.part;
      return data.points.map((p, i) => p.map((v, j) => v + k * (state.motion.shape[i]?.[j] ?? 0)));
    };
    // The segments of members in each step of amplitude, which has its own colour and width.
    const stepped = () => {
      const steps = sheets[0].steps.map(() => []);
      if (!state.motion) return steps;
      const sizes = state.motion.shape.map((d) => Math.hypot(...d));
      const largest = Math.max(...sizes) || 1;
      for (const line of data.lines) {
        for (let i = 1; i < line.length; i++) {
          const part = (sizes[line[i - 1]] + sizes[line[i]]) / 2 / largest;
          steps[Math.min(steps.length - 1, Math.floor(part * steps.length))].push([line[i - 1], line[i]]);
        }
      }
      return steps;
    };
    const place = (s, p) => {
      const [u, v] = seen(p.map((value, i) => value - centre[i]), state.turn, state.rise);
      return [
        (s.middle[0] + (u + held[0]) * s.scale).toFixed(1),
        (s.middle[1] - (v + held[1]) * s.scale).toFixed(1),
      ];
    };
    const lines = (at) => data.lines
      .map((line) => line.filter((p) => at[p]).map((p, i) => `${i ? "L" : "M"}${at[p].join(" ")}`).join(""))
      .join("");
    const draw = () => {
      const points = moved();
      for (const s of sheets) {
        const at = points.map((p) => place(s, p));
        s.still.setAttribute("d", state.motion ? "" : lines(at));
        s.ghost.setAttribute("d", state.motion ? lines(data.points.map((p) => place(s, p))) : "");
        s.steps.forEach((path, step) => path.setAttribute("d", state.stretches[step]
          .filter(([a, b]) => at[a] && at[b])
          .map(([a, b]) => `M${at[a].join(" ")}L${at[b].join(" ")}`).join("")));
        s.key?.setAttribute("visibility", state.motion ? "visible" : "hidden");
        s.rows.forEach((row, i) => row.classList.toggle("chosen", data.motions[i] === state.motion));
        for (const element of s.placed) {
          const p = at[Number(element.dataset.point)];
          if (p) element.setAttribute("transform", `translate(${p[0]} ${p[1]})`);
        }
        [[1, 0, 0], [0, 1, 0], [0, 0, 1]].forEach((axis, i) => {
          const [u, v] = seen(axis, state.turn, state.rise);
          const line = s.compass.querySelectorAll("line")[i];
          line.setAttribute("x2", 26 * u);
          line.setAttribute("y2", -26 * v);
          const name = s.compass.querySelectorAll("text")[i];
          name.setAttribute("x", 36 * u);
          name.setAttribute("y", 4 - 36 * v);
        });
      }
    };
    const turnBy = (turn, rise) => {
      state.turn += turn;
      state.rise = clamp(state.rise + rise, -90, 90);
      if (!state.playing) draw();
    };
    const home = () => { state.turn = data.turn; state.rise = data.rise; draw(); };

    for (const s of sheets) {
      let last = null;
      s.sheet.tabIndex = 0;
      s.sheet.setAttribute("role", "group");
      s.sheet.setAttribute("aria-label", "Wire drawing: arrow keys turn it, Home shows the first view");
      s.svg.classList.add("turnable");
      s.svg.addEventListener("pointerdown", (event) => {
        last = [event.clientX, event.clientY];
        s.svg.setPointerCapture(event.pointerId);
      });
      s.svg.addEventListener("pointermove", (event) => {
        if (!last) return;
        turnBy((last[0] - event.clientX) * 0.5, (event.clientY - last[1]) * 0.5);
        last = [event.clientX, event.clientY];
      });
      for (const kind of ["pointerup", "pointercancel"]) s.svg.addEventListener(kind, () => { last = null; });
      s.sheet.addEventListener("keydown", (event) => {
        if (event.ctrlKey || event.metaKey || event.altKey) return;
        const acts = {
          ArrowLeft: () => turnBy(5, 0), ArrowRight: () => turnBy(-5, 0),
          ArrowUp: () => turnBy(0, -5), ArrowDown: () => turnBy(0, 5), Home: home,
        };
        if (acts[event.key]) {
          event.preventDefault();
          acts[event.key]();
        }
      });
    }
    figure.querySelector('[data-turn="home"]')?.addEventListener("click", home);

    const choose = figure.querySelector("[data-motion]");
    const move = figure.querySelector('[data-play="shape"]');
    const play = (on) => {
      state.playing = on;
      move.setAttribute("aria-pressed", String(on));
      move.textContent = on ? "Hold" : "Move";
      const start = performance.now();
      const frame = (now) => {
        if (!state.playing) return;
        state.part = Math.sin(2 * Math.PI * 0.7 * (now - start) / 1000);
        draw();
        requestAnimationFrame(frame);
      };
      if (on) requestAnimationFrame(frame);
    };
    const show = (number) => {
      state.motion = number === "" ? null : data.motions[Number(number)] ?? null;
      state.stretches = stepped();
      state.part = 1;
      draw();
    };
    // A browser may restore another choice than the mode that is drawn.
    show(choose?.value ?? "");
    choose?.addEventListener("change", () => {
      if (state.playing) play(false);
      show(choose.value);
    });
    move?.addEventListener("click", () => {
      if (!state.motion) {
        choose.value = "0";
        show("0");
      }
      if (calm.matches) {
        // For readers who prefer reduced motion, the button alternates between the two ends of the motion.
        state.part = -state.part;
        draw();
      } else {
        play(!state.playing);
      }
    });
  };

  // ---- sound ----

  let sound = null;
  // Plays the sum of all decaying tones, as loud as possible without clipping.
  const hear = (tones) => {
    sound ??= new AudioContext();
    const rate = sound.sampleRate;
    const slowest = Math.min(...tones.map((m) => Math.PI * m.frequency * m.loss).filter((d) => d > 0));
    const seconds = clamp(Number.isFinite(slowest) ? 7 / slowest : 3, 0.3, 6);
    const buffer = sound.createBuffer(1, Math.ceil(seconds * rate), rate);
    const samples = buffer.getChannelData(0);
    for (const m of tones) {
      if (!m.heard || m.frequency >= rate / 2) continue;
      for (let i = 0; i < samples.length; i++) {
        const t = i / rate;
        samples[i] += m.heard * Math.exp(-Math.PI * m.frequency * m.loss * t) * Math.sin(2 * Math.PI * m.frequency * t);
      }
    }
    let loudest = 0;
    for (const sample of samples) loudest = Math.max(loudest, Math.abs(sample));
    // The last hundredth of a second fades out, so that the end does not click.
    const fade = Math.min(samples.length, Math.ceil(0.01 * rate));
    for (let i = 0; i < samples.length; i++) {
      samples[i] *= 0.8 / (loudest || 1) * Math.min(1, (samples.length - i) / fade);
    }
    const source = sound.createBufferSource();
    source.buffer = buffer;
    source.connect(sound.destination);
    sound.resume().then(() => source.start());
  };
  // The tap of one line of a curve, or of a frame.
  const hearing = (figure, data) => {
    for (const button of figure.querySelectorAll('[data-play="tap"]')) {
      const tones = data.series?.[button.dataset.line].tap ?? data.motions.map((motion) => motion.tone);
      button.addEventListener("click", () => hear(tones));
    }
  };

  for (const figure of document.querySelectorAll("figure")) {
    const text = figure.querySelector("script.data")?.textContent;
    if (!text) continue;
    const data = JSON.parse(text);
    saving(figure, data);
    hearing(figure, data);
    if (data.kind === "curve") curve(figure, data);
    if (data.kind === "wire") wire(figure, data);
    figure.querySelectorAll(".tools").forEach((tools) => { tools.hidden = false; });
  }
})();
