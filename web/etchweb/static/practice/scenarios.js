// A fault being played: what is told is added as it comes.

const LOOK_EVERY_MS = 500;
const told = document.getElementById("told");
const outcome = document.getElementById("outcome");

async function look() {
  try {
    const heard = await fetch(document.getElementById("page").dataset.now, { headers: { Accept: "application/json" } });
    if (!heard.ok) return again();
    const now = await heard.json();
    for (const one of now.told.slice(told.children.length)) told.append(line(one));
    if (!now.is_over) return again();
    outcome.textContent = now.outcome;
    document.getElementById("end").remove();
  } catch {
    again();
  }
}

function line({ at, sentence }) {
  const item = document.createElement("li");
  const when = Object.assign(document.createElement("span"), { className: "of", textContent: at });
  item.append(when, " ", Object.assign(document.createElement("span"), { textContent: sentence }));
  return item;
}

const again = () => setTimeout(look, LOOK_EVERY_MS);
if (document.querySelector("[data-playing]")) look();
