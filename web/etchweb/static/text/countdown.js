// Time that runs down in its place: from so many seconds, as the box said when it drew the page.

export function countDown(root = document) {
  for (const place of root.querySelectorAll("[data-counts-down]")) {
    const overAt = Date.now() + Number(place.dataset.countsDown) * 1000;
    const show = () => {
      const leftS = Math.ceil((overAt - Date.now()) / 1000);
      place.textContent = leftS > 0 ? `${Math.floor(leftS / 60)} min ${String(leftS % 60).padStart(2, "0")} s` : place.dataset.over;
      if (leftS > 0 && place.isConnected) setTimeout(show, 1000);
    };
    show();
  }
}
