// The look: a slider moves, and the tile shows it.

import { drawTile, photoOf } from "./tone.js";

const photograph = document.getElementById("look");
const form = document.getElementById("look-form");
const sliders = [...form.querySelectorAll("[type=range]")];
const burnt = document.querySelector("[data-burnt]");

await photograph.decode();
const canvas = document.createElement("canvas");
[canvas.width, canvas.height] = [photograph.naturalWidth, photograph.naturalHeight];
const pen = canvas.getContext("2d", { willReadFrequently: true });
pen.drawImage(photograph, 0, 0);
const image = pen.getImageData(0, 0, canvas.width, canvas.height);
const photo = photoOf(image);
canvas.className = photograph.className;
canvas.id = "tile-canvas";
canvas.setAttribute("role", "img");
canvas.setAttribute("aria-label", photograph.alt);
photograph.replaceWith(canvas);

const black = Number(photograph.dataset.black);
const before = form.querySelector("[data-before]");
before.closest("label").hidden = false;

function tones() {
  const wanted = Object.fromEntries(sliders.map((slider) => [slider.name, Number(slider.value)]));
  return before.checked ? { ...wanted, open_shadows: 0 } : wanted;
}

function draw() {
  const share = drawTile(photo, tones(), image, black);
  pen.putImageData(image, 0, 0);
  for (const slider of sliders) form.querySelector(`[data-of=${slider.name}]`).textContent = slider.value;
  burnt.textContent = `${Math.round(share * 100)} % of it will be burnt`;
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
draw();
document.body.dataset.isAlive = "yes";
