// The look: a slider moves, and the tile shows it; a finger draws the oval that is lightened.

import { OVAL_FIELDS, drawnOval, showOval } from "./oval.js";
import { drawTile, photoOf, retouchingOf } from "./tone.js";

const FIRST_LIGHT = 40; // an oval that was just drawn shall show
const form = document.getElementById("look-form");
const fields = form.elements;
const sliders = [...form.querySelectorAll("[type=range]")];
const burnt = document.querySelector("[data-burnt]");
const draws = form.querySelector("[data-draw]");
const before = form.querySelector("[data-before]");
const frame = document.getElementById("tile");

const photograph = document.getElementById("look");
const black = Number(photograph.dataset.black);
const canvas = document.createElement("canvas");
canvas.className = photograph.className;
canvas.id = "tile-canvas";
canvas.setAttribute("role", "img");
canvas.setAttribute("aria-label", photograph.alt);
const pen = canvas.getContext("2d", { willReadFrequently: true });
let photo, image;

async function take(picture) {
  await picture.decode();
  [canvas.width, canvas.height] = [picture.naturalWidth, picture.naturalHeight];
  pen.drawImage(picture, 0, 0);
  image = pen.getImageData(0, 0, canvas.width, canvas.height);
  photo = photoOf(image);
}

// Held down it shows the photo as it came; so does a key, for as long as it is held.
const AS_IT_CAME = Object.fromEntries(sliders.map((slider) => [slider.name, 0]));
const HOLDS = { pointerdown: true, keydown: true, pointerup: false, pointerleave: false, pointercancel: false, keyup: false, blur: false };
const compare = document.querySelector("[data-compare]");
let isComparing = false;
for (const [kind, holds] of Object.entries(HOLDS)) {
  compare.addEventListener(kind, (event) => {
    if (isComparing === holds || (event.key && !["Enter", " "].includes(event.key))) return;
    isComparing = holds;
    draw();
  });
}
compare.addEventListener("contextmenu", (event) => event.preventDefault()); // a long press is meant

document.querySelector("[data-reset]").addEventListener("click", () => {
  for (const slider of sliders) slider.value = 0;
  form.querySelector("[data-cut]:not(:checked)[value=eye]")?.click(); // draws once it has come
  draw();
});

const wanted = () => isComparing ? AS_IT_CAME : Object.fromEntries(sliders.map((slider) => [slider.name, Number(slider.value)]));

function ovalWanted() {
  const [x, y, wide, high] = OVAL_FIELDS.map((name) => Number(fields[name].value) / 100);
  return { x, y, half_width: wide / 2, half_height: high / 2 };
}

// Worked out anew only where something of it has changed: a slider of the tones is quicker so.
let retouching = {};
function retouchingNow(tones) {
  const asked = { oval: ovalWanted(), face_light: tones.face_light, fade: tones.fade };
  const key = JSON.stringify([canvas.width, canvas.height, asked]);
  if (retouching.key !== key) retouching = { key, ...retouchingOf(photo, asked) };
  return retouching;
}

function draw() {
  const tones = before.checked ? { ...wanted(), open_shadows: 0 } : wanted();
  const share = drawTile(photo, tones, image, black, retouchingNow(tones));
  pen.putImageData(image, 0, 0);
  for (const slider of sliders) form.querySelector(`[data-of=${slider.name}]`).textContent = slider.value;
  burnt.textContent = `${Math.round(share * 100)} % of it will be burnt`;
  showOval(frame, canvas, draws.ariaPressed === "true" || tones.face_light ? ovalWanted() : null);
}

let isAsked = false;
form.addEventListener("input", () => {
  if (isAsked) return;
  isAsked = true;
  requestAnimationFrame(() => {
    isAsked = false;
    draw();
  });
});

for (const mix of form.querySelectorAll("[data-cut]")) {
  mix.addEventListener("change", async () => {
    const picture = new Image();
    picture.src = mix.dataset.cut;
    await take(picture);
    draw();
  });
}

draws.addEventListener("click", () => {
  draws.ariaPressed = String(draws.ariaPressed !== "true");
  if (draws.ariaPressed === "true") frame.scrollIntoView({ block: "nearest" });
  draw();
});

drawnOval(canvas, () => draws.ariaPressed === "true", (oval, isWhole) => {
  const values = [oval.x, oval.y, oval.half_width * 2, oval.half_height * 2];
  OVAL_FIELDS.forEach((name, place) => (fields[name].value = (values[place] * 100).toFixed(1)));
  if (!Number(fields.face_light.value)) fields.face_light.value = FIRST_LIGHT;
  if (isWhole) draws.ariaPressed = "false";
  draw();
});

await take(photograph);
photograph.replaceWith(canvas);
before.closest("label").hidden = false;
draws.hidden = false;
document.querySelector(".look-buttons").hidden = false;
draw();
document.body.dataset.isAlive = "yes";
