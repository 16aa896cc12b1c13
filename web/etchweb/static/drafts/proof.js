// The proof: a tap on the bed says where the middle of the picture shall lie.

import { onTap, showPicture } from "../machine/bed.js";

const tenths = (mm) => (Math.round(mm * 10) / 10 || 0).toFixed(1); // no -0.0
const form = document.getElementById("place");
const bed = form.querySelector("svg");
const [width, height] = [Number(form.dataset.width), Number(form.dataset.height)];
const fields = [form.elements.at_x_mm, form.elements.at_y_mm];

function show() {
  const [left_mm, bottom_mm] = fields.map((field) => Number(field.value));
  showPicture(bed, { left_mm, bottom_mm, width_mm: width, height_mm: height });
}

onTap(bed, ({ x_mm, y_mm }) => {
  fields[0].value = tenths(x_mm - width / 2);
  fields[1].value = tenths(y_mm - height / 2);
  show();
});
for (const field of fields) field.addEventListener("input", show);
show(); // what was typed before this script had come
for (const element of form.querySelectorAll("[data-scripted]")) element.hidden = false;
