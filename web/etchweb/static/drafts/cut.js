// The cut: moved and sized with one finger, two fingers, or keys. The figures in the form are the
// truth; this only writes them. All lengths are in the photo's own pixels.

const picture = document.getElementById("cut");
const form = document.getElementById("cut-form");
const fields = form.elements;
const [width, height] = [Number(picture.dataset.width), Number(picture.dataset.height)];
const shape = (Number(picture.dataset.shape) * height) / width; // height over width, in pixels
const columns = Number(picture.dataset.columns);
const LEAST_SHARE = 0.05;
const STEP_SHARE = 0.01;

let cut = read();

function read() {
  const [left, top, wide] = ["left", "top", "wide"].map((name) => Number(fields[name].value) / 100);
  return { x: left * width, y: top * height, w: wide * width };
}

function fit({ x, y, w }) {
  const most = Math.min(width, height / shape);
  w = Math.min(Math.max(w, most * LEAST_SHARE), most);
  return { x: within(x, width - w), y: within(y, height - w * shape), w };
}

const within = (value, most) => Math.min(Math.max(value, 0), Math.max(most, 0));

function change(next) {
  cut = fit(next);
  fields.left.value = percent(cut.x / width);
  fields.top.value = percent(cut.y / height);
  fields.wide.value = percent(cut.w / width);
  draw();
}

const percent = (share) => (share * 100).toFixed(2);

function draw() {
  const { x, y, w } = cut;
  const h = w * shape;
  const put = (element, values) => Object.entries(values).forEach(([name, value]) => element.setAttribute(name, value));
  put(picture.querySelector("[data-edge]"), { x, y, width: w, height: h });
  put(picture.querySelector("[data-shade]"), { d: `M0 0H${width}V${height}H0ZM${x} ${y}h${w}v${h}h${-w}Z` });
  for (const corner of picture.querySelectorAll("[data-corner]")) {
    const name = corner.dataset.corner;
    put(corner, { cx: name.includes("e") ? x + w : x, cy: name.includes("s") ? y + h : y });
  }
  const perDot = w / columns;
  form.querySelector("[data-pixels]").textContent =
    perDot < 0.5 ? `Only ${perDot.toFixed(2)} pixels for each dot: the tile will look coarse.` : `${perDot.toFixed(1)} pixels for each dot.`;
}

function sized(factor) {
  const w = fit({ ...cut, w: cut.w * factor }).w;
  return { x: cut.x + (cut.w - w) / 2, y: cut.y + ((cut.w - w) * shape) / 2, w };
}

// Fingers: one moves the cut, or a corner of it; two spread it.
const fingers = new Map();
let begun = null;

const placeOf = (event) => {
  const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(picture.getScreenCTM().inverse());
  return { x: at.x, y: at.y };
};

picture.addEventListener("pointerdown", (event) => {
  picture.setPointerCapture(event.pointerId);
  fingers.set(event.pointerId, placeOf(event));
  begin(event.target.dataset.corner);
});

picture.addEventListener("pointermove", (event) => {
  if (!fingers.has(event.pointerId)) return;
  fingers.set(event.pointerId, placeOf(event));
  if (fingers.size > 1) return change(spread());
  change(begun.corner ? pulled(begun.corner) : moved());
});

for (const kind of ["pointerup", "pointercancel"]) {
  picture.addEventListener(kind, (event) => {
    fingers.delete(event.pointerId);
    begin(null);
  });
}

function begin(corner) {
  begun = { corner, cut, places: [...fingers.values()] };
}

const first = () => [...fingers.values()][0];

function moved() {
  const [from, to] = [begun.places[0], first()];
  return { ...begun.cut, x: begun.cut.x + to.x - from.x, y: begun.cut.y + to.y - from.y };
}

function pulled(corner) {
  const { x, y, w } = begun.cut;
  const h = w * shape;
  const anchor = { x: corner.includes("e") ? x : x + w, y: corner.includes("s") ? y : y + h };
  const room = {
    x: corner.includes("e") ? width - anchor.x : anchor.x,
    y: corner.includes("s") ? height - anchor.y : anchor.y,
  };
  const asked = Math.max(Math.abs(first().x - anchor.x), Math.abs(first().y - anchor.y) / shape);
  const wide = fit({ x, y, w: Math.min(asked, room.x, room.y / shape) }).w;
  return {
    x: corner.includes("e") ? anchor.x : anchor.x - wide,
    y: corner.includes("s") ? anchor.y : anchor.y - wide * shape,
    w: wide,
  };
}

function spread() {
  const apart = ([one, other]) => Math.hypot(one.x - other.x, one.y - other.y);
  const factor = apart([...fingers.values()]) / Math.max(1, apart(begun.places));
  const w = begun.cut.w * factor;
  return { x: begun.cut.x + (begun.cut.w - w) / 2, y: begun.cut.y + ((begun.cut.w - w) * shape) / 2, w };
}

const KEYS = {
  ArrowLeft: (step) => ({ ...cut, x: cut.x - step }),
  ArrowRight: (step) => ({ ...cut, x: cut.x + step }),
  ArrowUp: (step) => ({ ...cut, y: cut.y - step }),
  ArrowDown: (step) => ({ ...cut, y: cut.y + step }),
  "+": () => sized(1.05),
  "-": () => sized(1 / 1.05),
};

picture.addEventListener("keydown", (event) => {
  const next = KEYS[event.key];
  if (!next) return;
  event.preventDefault();
  change(next(Math.max(width, height) * STEP_SHARE * (event.shiftKey ? 5 : 1)));
});

for (const button of form.querySelectorAll("[data-size]")) {
  button.addEventListener("click", () => change(sized(Number(button.dataset.size))));
}
for (const name of ["left", "top", "wide"]) {
  fields[name].addEventListener("change", () => change(read()));
}
for (const element of form.querySelectorAll("[data-scripted]")) element.hidden = false;
draw();
