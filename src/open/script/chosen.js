// What is chosen, by pointer or from the list: its coordinates, sizes and materials, and what may be done with it.

import { machineListing } from "./machine.js";
import { post } from "./server.js";
import { isUnsaved } from "./text.js";

const STEP = 5;

const things = document.querySelector("#thing");
const panel = document.querySelector("#chosen");
const effects = document.querySelector("#effects");

let materials = [];
let write = null;

const words = (name) => name.replaceAll("_", " ");

const make = (name, attributes, ...children) => {
  const element = Object.assign(document.createElement(name), attributes);
  element.append(...children);
  return element;
};

const button = (text, act) => {
  const made = make("button", { type: "button", textContent: text });
  made.addEventListener("click", () => { if (!isUnsaved()) act(); });
  return made;
};

const choice = (label, names, chosen) => {
  const select = make("select", {}, ...names.map((name) => new Option(words(name), name, false, name === chosen)));
  return [make("label", {}, `${label} `, select), select];
};

const number = (label, value, step, act) => {
  const input = make("input", { type: "number", step: String(step), value: String(value) });
  input.addEventListener("change", () => { if (input.value !== "" && !isUnsaved()) act(Number(input.value)); });
  return make("label", {}, `${label} `, input);
};

const row = (...children) => make("div", { className: "row" }, ...children);

const showPoint = (listing, point) => {
  const axes = ["x", "y", "z"].map((axis, i) => number(`${axis}, mm`, point.at[i], STEP, (value) => {
    const to = point.at.map((v, j) => (i === j ? value : v));
    write({ kind: "move", build: listing.build, point: point.name, to });
  }));
  const mass = make("input", { type: "text", value: "5 kg", size: 8 });
  const isFoot = listing.feet.includes(point.name);
  const others = listing.points.map((own) => own.name).filter((name) => name !== point.name);
  const [toLabel, to] = choice("to", others);
  const sections = listing.sections.map((own) => own.name);
  const [sectionLabel, section] = choice("of section", sections);
  panel.append(
    row(...axes),
    row(make("label", {}, "mass ", mass), button("Add a mass here", () =>
      write({ kind: "add_mass", at: point.name, mass: mass.value }))),
    row(button(isFoot ? "Remove the foot here" : "Add a foot here", () =>
      write({ kind: isFoot ? "remove_foot" : "add_foot", at: point.name }))),
  );
  if (!sections.length) return;
  if (others.length) {
    panel.append(row(toLabel, sectionLabel, button("Add a member", () =>
      write({ kind: "add_member", from: point.name, to: to.value, section: section.value }))));
  }
  const place = point.at.map((v, i) => make("input", { type: "number", step: STEP, value: i === 2 ? v + 100 : v }));
  const [newLabel, newSection] = choice("of section", sections);
  panel.append(row(
    ...place.map((input, i) => make("label", {}, `${"xyz"[i]}, mm `, input)), newLabel,
    button("Add a member to a new point there", () => write({
      kind: "add_point", from: point.name, to: place.map((input) => Number(input.value)), section: newSection.value,
    })),
  ));
};

const ask = (kind, listing, section, part) => {
  const about = { kind, build: listing.build, section };
  return post("effects", part === undefined ? about : { ...about, part });
};

const showSection = (listing, section) => {
  section.parts.forEach((part, i) => {
    const at = { build: listing.build, section: section.name, part: i };
    const sizes = part.sizes.map((size, j) => number(`${words(size.name)}, mm`, size.mm, 1, (value) =>
      write({ kind: "sizes", ...at, sizes: part.sizes.map((own, k) => (j === k ? value : own.mm)) })));
    const names = materials.includes(part.of) ? materials : [part.of, ...materials];
    const [label, of] = choice("of", names, part.of);
    of.addEventListener("change", () => { if (!isUnsaved()) write({ kind: "material", ...at, of: of.value }); });
    panel.append(
      make("h3", { textContent: `Part ${i + 1}: ${words(part.shape)}` }),
      row(...sizes, label),
      row(
        button("Stock sizes near it", () => ask("sizes", listing, section.name, i)),
        button("Other materials", () => ask("materials", listing, section.name, i)),
      ),
    );
  });
};

const showThing = () => {
  const listing = machineListing();
  panel.replaceChildren();
  if (!listing) return;
  const [kind, name] = things.value.split("/");
  const of = (list) => list.find((own) => own.name === name);
  document.querySelectorAll(".handle").forEach((handle) => {
    handle.classList.toggle("chosen", kind === "point" && handle.dataset.name === name);
  });
  if (kind === "point") showPoint(listing, of(listing.points));
  const remove = (list) => () => write({ kind: "remove", of: list, name });
  if (kind === "mass") panel.append(row(button("Remove this mass", remove("masses"))));
  if (kind === "member") {
    const member = of(listing.members);
    const section = listing.sections.find((own) => own.name === member.section);
    const [from, to, sectionName] = [member.from, member.to, member.section].map(words);
    panel.append(row(
      `${words(name)} runs from ${from} to ${to}, of section ${sectionName}.`,
      button("Remove this member", remove("members")),
    ));
    if (section) showSection(listing, section);
  }
  if (kind === "section") showSection(listing, of(listing.sections));
};

// Opens the panel of a thing, such as `point`, `head`.
export const choose = (kind, name) => {
  things.value = `${kind}/${name}`;
  showThing();
  const section = machineListing()?.members.find((own) => kind === "member" && own.name === name)?.section;
  if (section) ask("slopes", machineListing(), section);
};

// Lists what there is; what was chosen stays chosen where it still exists.
export const showThings = (listing) => {
  const before = things.value;
  const group = (label, kind, names) =>
    make("optgroup", { label }, ...names.map((name) => new Option(words(name), `${kind}/${name}`)));
  const named = (list) => list.map((own) => own.name);
  things.replaceChildren(
    group("Points", "point", named(listing.points)),
    group("Members", "member", named(listing.members)),
    group("Masses", "mass", named(listing.masses)),
    group("Sections", "section", named(listing.sections)),
  );
  if ([...things.options].some((option) => option.value === before)) things.value = before;
  const isWithin = panel.contains(document.activeElement);
  const place = isWithin ? [...panel.querySelectorAll("input, select, button")].indexOf(document.activeElement) : -1;
  showThing();
  if (place >= 0) panel.querySelectorAll("input, select, button")[place]?.focus();
};

// What changes would do, as it is found.
export const showEffects = (found) => {
  effects.replaceChildren();
  if (!found) return;
  const { about, rows, done, of } = found;
  const titles = { slopes: "A millimetre more", sizes: "Stock sizes near it", materials: "Other materials" };
  const what = titles[about.wanted];
  const end = of === 0 ? ": there is none to try" : done < of ? `: ${done} of ${of} tried …` : "";
  effects.append(make("h3", { textContent: `${what} of ${words(about.section)}${end}` }));
  const table = make("table", {});
  for (const { name, effect, change } of rows) {
    const take = button("Make it so", () => write(change));
    take.setAttribute("aria-label", `Make it so: ${name}`);
    table.append(make("tr", {}, make("th", { scope: "row", textContent: name }), make("td", { textContent: effect }),
      make("td", {}, take)));
  }
  effects.append(table);
};

export const enableChoosing = (known, act) => {
  materials = known;
  write = act;
  things.addEventListener("change", () => choose(...things.value.split("/")));
};
