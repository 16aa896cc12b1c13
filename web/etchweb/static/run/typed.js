// What a person has ticked and typed outlives the page's being drawn anew around it.

const FIELDS = "input:not([type=hidden]), select, textarea";
const isTick = (field) => ["checkbox", "radio"].includes(field.type);

export function keepTyped(page) {
  return [...page.querySelectorAll(FIELDS)].map((field) => ({
    name: field.name,
    value: field.value,
    checked: field.checked,
  }));
}

export function putBack(page, kept) {
  for (const field of page.querySelectorAll(FIELDS)) {
    const was = kept.find((one) => one.name === field.name && (!isTick(field) || one.value === field.value));
    if (!was) continue;
    if (isTick(field)) field.checked = was.checked;
    else field.value = was.value;
  }
}

// What a person has unfolded stays so.
export function keepOpen(page, before) {
  for (const fold of page.querySelectorAll("details")) {
    fold.open = before.querySelector(`details[class="${fold.className}"]`)?.open ?? fold.open;
  }
}

// How many of the questions before an etch are still open.
export function showToGo(page) {
  const form = page.querySelector("form[data-ask=arm]");
  if (!form) return;
  const place = form.querySelector("[data-to-go]");
  const open = form.querySelectorAll(":is(input, select):invalid").length;
  const words = open ? `${open} to go` : "All confirmed";
  if (place.textContent !== words) place.textContent = words;
}
