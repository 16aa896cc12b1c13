// Calls somebody who has laid the phone down: a mark in the title, a sound, a buzz. A browser lets
// a page sound only once it has been touched, and none of it works while the page is not in front.

const TONES = {
  // [hertz, start in seconds, length in seconds]
  done: [[523, 0, 0.18], [659, 0.2, 0.18], [784, 0.4, 0.5]],
  held: [[587, 0, 0.25], [494, 0.3, 0.5]],
  ask: [[659, 0, 0.15], [659, 0.25, 0.15], [880, 0.5, 0.4]],
  stop: [[392, 0, 0.3], [392, 0.45, 0.3], [392, 0.9, 0.6]],
};
const BUZZES = { done: [200, 100, 400], held: [300, 150, 300], ask: [150, 100, 150], stop: [500, 200, 500, 200, 500] };
const KEPT_AS = "etchwarden sound";

let speaker = null;
let isMarked = false;

export const mark = () => (isMarked ? "● " : "");

export function call(kind) {
  isMarked = true;
  navigator.vibrate?.(BUZZES[kind]);
  if (isWanted()) sound(kind);
}

const isWanted = () => localStorage.getItem(KEPT_AS) !== "off";

function sound(kind) {
  if (speaker?.state !== "running") return;
  for (const [hertz, from, lasts] of TONES[kind]) {
    const tone = new OscillatorNode(speaker, { frequency: hertz, type: "triangle" });
    const loudness = new GainNode(speaker, { gain: 0 });
    const at = speaker.currentTime + from;
    loudness.gain.setValueAtTime(0, at);
    loudness.gain.linearRampToValueAtTime(0.3, at + 0.02); // a hard edge would click
    loudness.gain.setValueAtTime(0.3, at + lasts - 0.05);
    loudness.gain.linearRampToValueAtTime(0, at + lasts);
    tone.connect(loudness).connect(speaker.destination);
    tone.start(at);
    tone.stop(at + lasts);
  }
}

// What was called for has been seen once the page is touched; and from then on it may sound.
export function listenForTouch(touched) {
  const touch = () => {
    speaker ??= new AudioContext();
    speaker.resume();
    if (!isMarked) return;
    isMarked = false;
    touched();
  };
  for (const kind of ["pointerup", "keydown"]) document.addEventListener(kind, touch);
}

// The button to have it silent; the page is drawn anew often, so it is looked for each time.
export function showSwitch(page) {
  const button = page.querySelector("[data-sound]");
  if (!button || !window.AudioContext) return;
  const show = () => {
    button.setAttribute("aria-pressed", String(isWanted()));
    button.hidden = false;
  };
  button.onclick = () => {
    localStorage.setItem(KEPT_AS, isWanted() ? "off" : "on");
    show();
    speaker ??= new AudioContext();
    if (isWanted()) speaker.resume().then(() => sound("held"));
  };
  show();
}
