// What is wrong or doubtful, at its line, with its repair.

import { goTo, isUnsaved, markLines } from "./text.js";

const list = document.querySelector("#wrong");

const element = (name, text, parent) => {
  const made = document.createElement(name);
  made.textContent = text;
  parent.append(made);
  return made;
};

// Shows `problems`; `mend` is called with the number of one that is to be mended.
export const showProblems = (problems, mend) => {
  markLines(problems);
  list.replaceChildren();
  if (!problems.length) return;
  const all = document.createElement("ul");
  all.className = "problems";
  problems.forEach((problem, number) => {
    const item = element("li", "", all);
    item.className = problem.severity;
    element("strong", problem.severity === "error" ? "Error" : "Warning", item);
    item.append(" ");
    if (problem.line) {
      const go = element("button", `line ${problem.line}`, item);
      go.type = "button";
      go.addEventListener("click", () => goTo(problem.line, problem.column ?? 1));
    }
    element("p", `${problem.key ? `${problem.key}: ` : ""}${problem.message}`, item);
    if (problem.help) element("p", problem.help, item).className = "help";
    if (problem.mends) {
      const repair = element("button", "Mend it", item);
      repair.type = "button";
      repair.addEventListener("click", () => { if (!isUnsaved()) mend(number); });
    }
  });
  list.append(all);
};
