// The page Machine, alive: a tap on the bed says where, the box says where the head has come to.

import { askWithoutLeaving } from "../server/asking.js";
import { onTap, showHead, showMark } from "./bed.js";

const ASK_EVERY_MS = 1000;
const page = document.getElementById("page");
const bed = document.querySelector("svg[data-bed]");
const go = document.querySelector("[data-ask=move]");
const wires = document.getElementById("wires");
const answer = document.getElementById("answer");

const boxWasHeard = askWithoutLeaving((sentence) => {
  answer.textContent = sentence;
  if (sentence) answer.scrollIntoView({ block: "center" });
  look();
});

if (bed && go) {
  const { x, y } = go.elements;
  const mark = () => showMark(bed, x.value && y.value ? { x_mm: Number(x.value), y_mm: Number(y.value) } : null);
  onTap(bed, (place) => {
    [x.value, y.value] = [place.x_mm, place.y_mm];
    mark();
  });
  go.addEventListener("input", mark);
}

async function look() {
  if (document.hidden) return;
  try {
    const asked = wires ? `${page.dataset.now}?wiring=yes` : page.dataset.now;
    const heard = await fetch(asked, { headers: { Accept: "application/json" } });
    if (heard.status === 403) return location.reload(); // shut out: pair again
    if (heard.ok) show(await heard.json());
  } catch {
    document.querySelector("[data-live=sentence]").textContent = "The box’s page does not answer.";
  }
}

function show(now) {
  boxWasHeard();
  for (const place of document.querySelectorAll("[data-live]")) {
    const words = now[place.dataset.live];
    if (words !== undefined && place.textContent !== words) place.textContent = words;
    place.classList.toggle("wrong", now.wrong.includes(place.dataset.live));
  }
  if (bed) showHead(bed, now.head && { x_mm: now.head[0], y_mm: now.head[1] });
  for (const button of document.querySelectorAll("[data-may]")) {
    button.disabled = !now.may.includes(button.dataset.may);
  }
  for (const button of document.querySelectorAll("[data-can-try]")) button.disabled = !now.can_try;
}

setInterval(look, ASK_EVERY_MS);
look();
