// Sends a form without leaving the page, and shows what came of it. Without this module the
// browser sends the form itself, and the answer is a page.

export function askWithoutLeaving(showAnswer) {
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (!form.dataset.ask) return;
    event.preventDefault();
    showAnswer("");
    const button = form.querySelector("button");
    button.setAttribute("aria-busy", "true");
    showAnswer(await ask(form));
    button.removeAttribute("aria-busy");
  });
}

async function ask(form) {
  try {
    const answer = await fetch(form.action, {
      method: "POST",
      body: new URLSearchParams(new FormData(form)),
      headers: { Accept: "application/json" },
    });
    return (await answer.json()).sentence;
  } catch {
    return "The box did not answer. Press again; if it matters, use the stop circuit at the machine.";
  }
}
