// The phone's own clock time in the place of the box's.

const asClock = new Intl.DateTimeFormat(undefined, { hour: "numeric", minute: "2-digit" });

export function showClockTimes(root = document) {
  for (const place of root.querySelectorAll("[data-clock]")) {
    const at = new Date(place.dateTime);
    place.textContent = Number.isNaN(at.getTime()) ? "–" : asClock.format(at);
  }
}
