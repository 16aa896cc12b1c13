// Width and height that belong together: one follows the other while the shape is kept.

const sides = document.querySelector("[data-shape]");
if (sides) {
  const shape = Number(sides.dataset.shape); // height over width
  const [width, height] = sides.querySelectorAll("input");
  const linked = document.querySelector("[data-linked]");
  const tenths = (mm) => String(Math.round(mm * 10) / 10);
  const isNear = (mm, other) => Math.abs(mm - other) <= 0.5; // sizes are suggested in whole millimetres
  const widen = () => linked.checked && (width.value = tenths(height.value / shape));
  const heighten = () => linked.checked && (height.value = tenths(width.value * shape));

  linked.closest("label").hidden = false;
  linked.checked = isNear(height.value, width.value * shape) || isNear(width.value, height.value / shape);
  width.addEventListener("input", heighten);
  height.addEventListener("input", widen);
  linked.addEventListener("change", heighten);
}
