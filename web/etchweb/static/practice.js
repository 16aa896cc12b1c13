// The practice panel: each press is done without leaving the page.

import { askWithoutLeaving } from "./asking.js";

const answer = document.getElementById("answer");
askWithoutLeaving((sentence) => (answer.textContent = sentence));
