// An oval on a picture: drawn from corner to corner with a finger, in shares of the picture.

export const OVAL_FIELDS = ["oval_x", "oval_y", "oval_wide", "oval_high"];
const LEAST_SHARE = 0.01; // the form's least width and height
const SVG = "http://www.w3.org/2000/svg";

const within = (value) => Math.min(Math.max(value, 0), 1);

// Calls `drawn(oval, isWhole)` while a finger draws on `canvas`, as long as `isWanted()`.
export function drawnOval(canvas, isWanted, drawn) {
  let from = null;
  const placeOf = (event) => {
    const box = canvas.getBoundingClientRect();
    return { x: within((event.clientX - box.left) / box.width), y: within((event.clientY - box.top) / box.height) };
  };
  const oval = (to) => ({
    x: (from.x + to.x) / 2,
    y: (from.y + to.y) / 2,
    half_width: Math.max(Math.abs(to.x - from.x), LEAST_SHARE) / 2,
    half_height: Math.max(Math.abs(to.y - from.y), LEAST_SHARE) / 2,
  });
  canvas.addEventListener("pointerdown", (event) => {
    if (!isWanted()) return;
    canvas.setPointerCapture(event.pointerId);
    from = placeOf(event);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (from) drawn(oval(placeOf(event)), false);
  });
  canvas.addEventListener("pointerup", (event) => {
    if (from) drawn(oval(placeOf(event)), true);
    from = null;
  });
  canvas.addEventListener("pointercancel", () => (from = null));
  // Not by a style: whether a finger scrolls is asked for before its first move.
  canvas.addEventListener("touchstart", (event) => isWanted() && event.preventDefault(), { passive: false });
}

// Shows where the oval lies on `canvas`, which is in `frame`; null shows none.
export function showOval(frame, canvas, oval) {
  let sheet = frame.querySelector("svg");
  if (!sheet) {
    sheet = document.createElementNS(SVG, "svg");
    sheet.setAttribute("class", "oval-sheet");
    sheet.setAttribute("aria-hidden", "true");
    sheet.setAttribute("viewBox", "0 0 100 100");
    sheet.setAttribute("preserveAspectRatio", "none");
    for (const kind of ["oval-under", "oval-line"]) {
      const line = document.createElementNS(SVG, "ellipse");
      line.setAttribute("class", kind);
      sheet.append(line);
    }
    canvas.after(sheet);
  }
  sheet.toggleAttribute("hidden", !oval);
  if (!oval) return;
  const values = { cx: oval.x, cy: oval.y, rx: oval.half_width, ry: oval.half_height };
  for (const line of sheet.children) {
    for (const [name, value] of Object.entries(values)) line.setAttribute(name, value * 100);
  }
}
