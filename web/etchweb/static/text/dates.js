// Every moment on the page, as this phone's own clock and calendar have it.

const asMoment = new Intl.DateTimeFormat(undefined, { dateStyle: "medium", timeStyle: "short" });

for (const place of document.querySelectorAll("time[data-moment]")) {
  place.textContent = asMoment.format(new Date(place.dateTime));
}
