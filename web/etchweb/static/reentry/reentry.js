// The first row that is not dark, told by eye: a line on the tile that is dragged, tapped, stepped
// or moved by keys. The number in the form is the truth; this only writes it, and shows what it means.

import { moveTile } from "../previews/tile.js";

const ASK_AFTER_MS = 250;

const tile = document.querySelector("svg.tile");
const line = document.getElementById("line");
const loupe = document.getElementById("loupe");
const field = document.getElementById("row");
const rows = Number(loupe.dataset.rows);
const spacingMm = Number(loupe.dataset.spacingMm);
let row = Number(field.value);

function go(next) {
  row = Math.min(Math.max(Math.round(next) || 1, 1), rows);
  field.value = row;
  draw();
  askWhatIsLeft();
}

function draw() {
  const mm = (row - 1) * spacingMm;
  moveTile({ etched_rows: row - 1, row: row - 1 });
  line.setAttribute("transform", `translate(0 ${mm})`);
  line.setAttribute("aria-valuenow", row);
  line.setAttribute("aria-valuetext", `Row ${row} of ${rows}`);
  document.querySelector("[data-below]").textContent = mm.toFixed(1);
  loupe.querySelector("clipPath rect").setAttribute("height", mm);
  loupe.querySelector(".loupe-line").setAttribute("transform", `translate(0 ${mm})`);
  look(loupe.viewBox.baseVal.x + loupe.viewBox.baseVal.width / 2);
}

function look(acrossMm) {
  const { width, height } = loupe.viewBox.baseVal;
  loupe.setAttribute("viewBox", `${acrossMm - width / 2} ${(row - 1) * spacingMm - height / 2} ${width} ${height}`);
}

// A grip for a finger is measured on the screen, whatever the tile measures.
const GRIP_PX = 56;
function fitGrip() {
  const mmPerPx = 1 / tile.getScreenCTM().a;
  const grip = line.querySelector("[data-grip-mm]");
  grip.setAttribute("transform", `translate(${grip.dataset.gripMm} 0) scale(${mmPerPx})`);
  line.querySelector("rect").setAttribute("y", (-GRIP_PX / 2) * mmPerPx);
  line.querySelector("rect").setAttribute("height", GRIP_PX * mmPerPx);
}

const placeOf = (event) =>
  new DOMPoint(event.clientX, event.clientY).matrixTransform(tile.getScreenCTM().inverse());

let held = null; // how far from the line the finger has it
line.addEventListener("pointerdown", (event) => {
  line.setPointerCapture(event.pointerId);
  held = placeOf(event).y - (row - 1) * spacingMm;
});
line.addEventListener("pointermove", (event) => {
  if (held !== null) go((placeOf(event).y - held) / spacingMm + 1);
});
for (const kind of ["pointerup", "pointercancel"]) line.addEventListener(kind, () => (held = null));

tile.addEventListener("click", (event) => {
  const { x, y } = placeOf(event);
  if (!line.contains(event.target)) go(Math.floor(y / spacingMm) + 1);
  look(x);
});

const KEYS = { ArrowUp: -1, ArrowDown: 1, PageUp: -10, PageDown: 10, Home: -rows, End: rows };
line.addEventListener("keydown", (event) => {
  const step = KEYS[event.key];
  if (!step) return;
  event.preventDefault();
  go(row + step);
});

for (const button of document.querySelectorAll("[data-rows][type=button]")) {
  button.addEventListener("click", () => go(row + Number(button.dataset.rows)));
}
field.addEventListener("input", () => field.validity.valid && field.value && go(Number(field.value)));
field.addEventListener("change", () => go(Number(field.value)));

// The box says what is left, in its own words.
let waiting = 0;
let asking = new AbortController();
function askWhatIsLeft() {
  clearTimeout(waiting);
  waiting = setTimeout(async () => {
    asking.abort();
    asking = new AbortController();
    try {
      const answer = await fetch(`?by=eye&row=${row}`, { signal: asking.signal });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.getElementById("left");
      if (fresh) document.getElementById("left").replaceChildren(...fresh.childNodes);
    } catch {
      // The next move asks again; what is loaded is told anew on the bench.
    }
  }, ASK_AFTER_MS);
}

tile.setAttribute("role", "group"); // an image has nothing in it that can be moved
const slider = { role: "slider", tabindex: 0, "aria-label": "The line on the tile", "aria-orientation": "vertical", "aria-valuemin": 1, "aria-valuemax": rows };
for (const [name, value] of Object.entries(slider)) line.setAttribute(name, value);
for (const element of document.querySelectorAll("[data-unscripted]")) element.hidden = true;
for (const element of document.querySelectorAll("[data-scripted]")) {
  element.hidden = false;
  element.removeAttribute("visibility");
}
if (field.value === field.defaultValue) draw();
else go(row); // typed before this script had come
fitGrip();
addEventListener("resize", fitGrip);
