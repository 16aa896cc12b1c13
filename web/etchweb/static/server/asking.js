// Sends a form without leaving the page, and shows what came of it. Without this module the
// browser sends the form itself, and the answer is a page.

// That no answer came is said until the box is heard again, and for long enough to be read.
const READ_IN_MS = 3000;
const UNAVAILABLE = 503;

// Returns what to call whenever the box is heard.
export function askWithoutLeaving(showAnswer) {
  let unansweredAt = null;
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.dataset.ask) return;
    event.preventDefault();
    showAnswer("");
    const button = event.submitter ?? form.querySelector("button");
    button.setAttribute("aria-busy", "true");
    const { sentence, isAnswered } = await ask(form, event.submitter);
    unansweredAt = isAnswered ? null : Date.now();
    showAnswer(sentence);
    button.removeAttribute("aria-busy");
  });
  return () => {
    if (unansweredAt === null || Date.now() - unansweredAt < READ_IN_MS) return;
    unansweredAt = null;
    showAnswer("");
  };
}

async function ask(form, pressed) {
  try {
    const answer = await fetch(form.action, {
      method: "POST",
      body: new URLSearchParams(new FormData(form, pressed)),
      headers: { Accept: "application/json" },
    });
    const { sentence } = await answer.json();
    return { sentence, isAnswered: answer.status !== UNAVAILABLE };
  } catch {
    const sentence = "The box did not answer. Press again; if it matters, use the stop circuit at the machine.";
    return { sentence, isAnswered: false };
  }
}
