// Extends a page that is complete without it, figure by figure.

import { enableFigure } from "./figure.js";

document.querySelectorAll("figure").forEach(enableFigure);
