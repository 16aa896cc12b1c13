// Moves the edge between the etched rows and those to come.

export function moveTile(view) {
  const mark = document.querySelector("[data-tile=row]");
  if (!mark) return;
  const rowMm = Number(mark.dataset.heightMm) / Number(mark.dataset.rows);
  if ("etched_rows" in view) {
    document.querySelector("[data-tile=etched]").setAttribute("height", view.etched_rows * rowMm);
  }
  if ("row" in view) {
    mark.setAttribute("visibility", view.row < 0 ? "hidden" : "visible");
    if (view.row >= 0) mark.setAttribute("transform", `translate(0 ${(view.row + 0.5) * rowMm})`);
  }
}
