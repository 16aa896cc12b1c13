// The picture of the bed as a thing to tap: places come and go in the job's millimetres, x right
// and y up. Nothing here asks the box for anything.

const finestMm = 10; // parts of a millimetre that a place is rounded to

const rounded = (value) => Math.round(value * finestMm) / finestMm;
const within = (value, low, high) => Math.min(Math.max(value, low), high);

// Where on the bed a pointer is; never beyond the bed's edges.
export function placeOf(bed, event) {
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(bed.getScreenCTM().inverse());
  const { leftMm, rightMm, bottomMm, topMm } = bed.dataset;
  return {
    x_mm: rounded(within(at.x, Number(leftMm), Number(rightMm))),
    y_mm: rounded(within(-at.y, Number(bottomMm), Number(topMm))),
  };
}

// Calls `tapped` with the place of every tap on the bed.
export function onTap(bed, tapped) {
  bed.addEventListener("click", (event) => tapped(placeOf(bed, event)));
}

// Moves the mark (where it shall go), the head (where it is) or the picture; null hides.
export const showMark = (bed, place) => put(bed, "mark", place);
export const showHead = (bed, place) => put(bed, "head", place);

export function showPicture(bed, { left_mm, bottom_mm, width_mm, height_mm }) {
  const picture = bed.querySelector("[data-bed=picture]");
  const values = { x: left_mm, y: -(bottom_mm + height_mm), width: width_mm, height: height_mm };
  for (const [name, value] of Object.entries(values)) picture?.setAttribute(name, value);
}

function put(bed, name, place) {
  const thing = bed.querySelector(`[data-bed=${name}]`);
  thing.setAttribute("visibility", place ? "visible" : "hidden");
  if (place) thing.setAttribute("transform", `translate(${place.x_mm} ${-place.y_mm})`);
}
