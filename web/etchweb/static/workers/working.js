// Work under way: asks how far it is, and goes on when it is over.

const EVERY_MS = 400;
const bar = document.getElementById("share");

async function ask() {
  try {
    const answer = await fetch(bar.dataset.work, { headers: { Accept: "application/json" } });
    const { share, over, early } = await answer.json();
    bar.value = share ?? bar.value;
    if (early) showEarly(early);
    if (over || !answer.ok) return void goOn();
  } catch {
    // The box may be back at the next try.
  }
  setTimeout(ask, EVERY_MS);
}

// A form that came before the photo had been looked at is sent once more.
function goOn() {
  const early = document.getElementById("again");
  if (early) early.submit();
  else location.reload();
}

// What there is to see before all of it is done.
function showEarly(address) {
  const place = document.getElementById("early");
  if (!place.hidden) return;
  place.querySelector("img").src = address;
  place.hidden = false;
}

setTimeout(ask, EVERY_MS);
