// The page Watch, alive: words and figures come from the box, this puts them in their places.

import { call, listenForTouch, mark, showSwitch } from "./alarm.js";
import { askWithoutLeaving } from "../server/asking.js";
import { clockTime, showClockTimes } from "../text/clock.js";
import { countDown } from "../text/countdown.js";
import { listen } from "./live.js";
import { moveTile } from "../previews/tile.js";
import { keepOpen, keepTyped, putBack, showToGo } from "./typed.js";

const LOST_AFTER_MS = 2900; // the box says something every second and a bit, or is asked every two
const OWN_ANSWER_MS = 15000;
const SPEAK_EVERY_MS = 10000;
const ALWAYS_ASKABLE = ["hold", "hold_now", "stop"]; // not knowing is no reason to keep these back

let page = document.getElementById("watch");
const { state, scene, alert, run } = page.dataset;
let view = { state, scene, alert, run: Number(run) }; // as the box drew it
let heardAt = Date.now();
let spokenAt = Date.now();
let spokenState = state;

function heard(news) {
  heardAt = Date.now();
  const before = view;
  view = { ...view, ...news };
  if (view.scene !== "away") boxWasHeard();
  callSomebody(before);
  showAge();
  speak();
  if ("scene" in view && isAnotherScene()) return void redraw();
  show(news);
  if ("headline" in news || "left" in news || "alert" in news) document.title = title();
}

function show(news) {
  for (const [name, value] of Object.entries(news)) {
    for (const place of page.querySelectorAll(`[data-live="${name}"]`)) place.textContent = value;
  }
  if ("ends_at" in news) page.querySelector(".clock [data-clock]")?.setAttribute("datetime", news.ends_at);
  if ("may" in news) offer(news.may);
  moveTile(news);
  showClockTimes(page);
}

// With every state comes another sentence to what happened.
const sceneOf = ({ scene, tile, run, state, shade, box, checking, late, unfinished, is_origin_wanted }) =>
  [scene, tile, run, state, shade, box, checking, late, unfinished, is_origin_wanted].join();

let drawn = { ...page.dataset };
const isAnotherScene = () => sceneOf(view) !== sceneOf(drawn);

// Another picture of the bench: the box draws it, as it drew the first.
let isDrawing = false;
async function redraw() {
  if (isDrawing) return;
  isDrawing = true;
  try {
    const answer = await fetch(location.href, { headers: { Accept: "text/html" } });
    const next = new DOMParser().parseFromString(await answer.text(), "text/html");
    const fresh = next.getElementById("watch");
    if (!fresh) return void location.reload();
    const focused = document.activeElement?.closest("form")?.dataset.ask;
    const answerText = document.getElementById("answer").textContent;
    const isSameTile = ["scene", "tile", "run"].every((name) => fresh.dataset[name] === page.dataset[name]);
    if (isSameTile) putBack(fresh, keepTyped(page));
    const isNewAlarm = fresh.querySelector(".alarm") && !page.querySelector(".alarm");
    keepOpen(fresh, page);
    page.replaceWith(fresh);
    page = fresh;
    countDown(page);
    showToGo(page);
    if (isNewAlarm) scrollTo(0, 0);
    drawn = { ...page.dataset };
    document.getElementById("answer").textContent = answerText;
    document.title = title();
    if (focused) page.querySelector(`[data-ask="${focused}"] button:enabled, .bar button:enabled`)?.focus({ preventScroll: true });
    show(view); // what was heard since the box drew it is said once only
    showSwitch(page);
  } catch {
    // The next thing heard tries again.
  } finally {
    isDrawing = false;
  }
}

function offer(may) {
  for (const button of page.querySelectorAll("[data-may]")) {
    button.disabled = !may.includes(button.dataset.may);
  }
}

// In the first line, which stays in view, and beside the figures, which are old from then on.
let lostTimer = 0;
function showAge() {
  const age = Date.now() - heardAt;
  const isLost = age >= LOST_AFTER_MS;
  const note = document.getElementById("heard");
  document.body.classList.toggle("is-stale", isLost);
  document.body.classList.toggle("is-live", !isLost);
  note.hidden = !isLost;
  clearTimeout(lostTimer);
  lostTimer = setTimeout(showAge, isLost ? 1000 : LOST_AFTER_MS - age);
  if (!isLost) return;
  note.textContent = `Link to the box lost: nothing heard since ${clockTime(heardAt)}. What you see is old.`;
  offer([...new Set([...(view.may ?? []), ...ALWAYS_ASKABLE])]);
}

const title = () =>
  mark() + (view.scene === "run" && !view.is_emergency ? `${view.left} – ${view.headline}` : `${view.headline} – Etchwarden`);

// Not for what was there when the page was opened, nor for what this phone itself asked for.
const ASKED_HERE = ["hold", "hold-now", "stop", "disarm"];
let askedHereAt = 0;
document.addEventListener("submit", (event) => {
  if (ASKED_HERE.includes(event.target.dataset.ask)) askedHereAt = Date.now();
});
function callSomebody(before) {
  const isGone = view.scene === "away" && before.scene === "run";
  const isNews = view.alert && (view.alert !== before.alert || view.run !== before.run);
  const isOwn = Date.now() - askedHereAt < OWN_ANSWER_MS && ["held", "stop"].includes(view.alert);
  if ((isNews && !isOwn) || isGone) call(view.alert || "stop");
}

// What a screen reader says: every change of state, and how far it is at most every ten seconds.
function speak() {
  const isNewState = view.state !== spokenState;
  if (!isNewState && (view.scene !== "run" || Date.now() - spokenAt < SPEAK_EVERY_MS)) return;
  [spokenAt, spokenState] = [Date.now(), view.state];
  const far = view.scene === "run" ? ` ${view.rows_done} of ${view.rows_total} rows, ${view.left} left.` : "";
  document.getElementById("spoken").textContent = isNewState
    ? [`${view.headline}.`, view.sentence, view.because, view.next_step].filter(Boolean).join(" ")
    : far;
}

function showAnswer(sentence) {
  document.getElementById("answer").textContent = sentence;
  if (sentence) document.getElementById("answer").scrollIntoView({ block: "center" });
}

const boxWasHeard = askWithoutLeaving(showAnswer);
listenForTouch(() => (document.title = title()));
showSwitch(page);
showClockTimes();
countDown();
showToGo(page);
document.addEventListener("input", () => showToGo(page));
showAge();
listen({ stream: page.dataset.stream, poll: page.dataset.poll, heard });
