// The practice panel: each press is done without leaving the page.

import { askWithoutLeaving } from "../server/asking.js";

const answer = document.getElementById("answer");
askWithoutLeaving((sentence) => (answer.textContent = sentence));
