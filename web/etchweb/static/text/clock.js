// The phone's own clock time in the place of the box's.

const asClock = new Intl.DateTimeFormat(undefined, { hour: "numeric", minute: "2-digit" });

// As a person reads it off a watch; `at` is a Date, or milliseconds since 1970.
export const clockTime = (at) => asClock.format(at);

export function showClockTimes(root = document) {
  for (const place of root.querySelectorAll("[data-clock]")) {
    const at = new Date(place.dateTime);
    place.textContent = Number.isNaN(at.getTime()) ? "–" : asClock.format(at);
  }
}
