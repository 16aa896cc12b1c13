// A list kept fresh: the box forms the words, this puts the new list in place.

const EVERY_MS = 3000;
const KEPT = "[data-kept-fresh]";

async function refresh() {
  if (document.hidden) return;
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    const next = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = next.querySelector(KEPT);
    if (!fresh) return void location.reload(); // shut out: pair again
    const list = document.querySelector(KEPT);
    if (fresh.innerHTML === list.innerHTML) return;
    const focused = document.activeElement?.getAttribute("href");
    list.replaceWith(fresh);
    if (focused) fresh.querySelector(`a[href="${focused}"]`)?.focus({ preventScroll: true });
  } catch {
    // The next look tries again.
  }
}

setInterval(refresh, EVERY_MS);
