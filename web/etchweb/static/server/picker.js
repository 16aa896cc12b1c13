// Photos on their way to the box: seen before they leave, told here when there is none or one is
// too large, and how far they are.

const THUMB_PX = 480;

for (const form of document.querySelectorAll("[data-sends-photos]")) {
  const picker = form.querySelector("[data-picker]");
  const says = picker.dataset;
  const mostBytes = Number(says.mostBytes);
  const line = picker.querySelector("[data-progress]");
  const list = picker.querySelector("[data-chosen]");
  const say = (sentence) => (picker.querySelector("[data-refused]").textContent = sentence);

  // The camera is a second place to choose from; without a script the first one offers it too.
  const camera = picker.querySelector("[data-camera]");
  camera.replaceWith(camera.content);
  const inputs = [...picker.querySelectorAll("[type=file]")];
  const takesSeveral = inputs.some((input) => input.multiple);
  const chosen = () => inputs.flatMap((input) => [...input.files]);

  for (const input of inputs) {
    input.addEventListener("change", () => {
      for (const other of inputs) if (other !== input && !takesSeveral) other.value = "";
      for (const each of inputs) each.required = "isRequired" in says && each === input && !chosen().length;
      say(refusalOf(chosen()));
      showChosen(list, chosen());
    });
  }

  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const files = chosen();
    const refusal = files.length || !("isRequired" in says) ? refusalOf(files) : says.noPhoto;
    say(refusal);
    if (!refusal) send(files, event.submitter);
  });

  function refusalOf(files) {
    const large = files.find((file) => file.size > mostBytes);
    if (!large) return "";
    const figures = { name: large.name, has: Math.ceil(large.size / 1e6), takes: mostBytes / 1e6 };
    return says.tooLarge.replace(/\{(\w+)\}/g, (_, name) => figures[name]);
  }

  function send(files, button) {
    const body = new FormData(form, button);
    body.delete("photo"); // of two places to choose from one is mostly empty
    for (const file of files) body.append("photo", file, file.name);
    const request = new XMLHttpRequest(); // fetch cannot tell how much has left
    const show = (share) => {
      line.hidden = false;
      line.querySelector("progress").value = share;
      line.querySelector("[data-said]").textContent = share < 1 || !files.length ? "" : says.checking;
    };
    const arrived = (response) => {
      if (response?.next) return goOn(new URL(response.next, location.href));
      line.hidden = true;
      button.disabled = false;
      say(response?.sentence || says.notArrived);
    };
    request.open("POST", form.action);
    request.setRequestHeader("Accept", "application/json");
    request.responseType = "json";
    request.upload.onprogress = ({ loaded, total }) => show(loaded / total);
    request.onload = () => arrived(request.response);
    request.onerror = () => arrived(null);
    button.disabled = true;
    show(0);
    request.send(body);
  }
}

// Another place on the same page would only be scrolled to: it is drawn anew.
function goOn(next) {
  if (next.pathname !== location.pathname || !next.hash) return location.assign(next);
  history.replaceState(null, "", next);
  location.reload();
}

// Drawn, not linked: the page's rules let no picture in from elsewhere. What this browser cannot
// read (HEIC on most) stands there by its name, and is shown once the box has looked at it.
function showChosen(list, files) {
  list.replaceChildren(...files.map((file) => {
    const entry = document.createElement("li");
    entry.append(file.name);
    drawThumb(file).then((canvas) => entry.prepend(canvas), () => {});
    return entry;
  }));
  list.hidden = !files.length;
}

async function drawThumb(file) {
  const picture = await createImageBitmap(file, { resizeWidth: THUMB_PX, resizeQuality: "medium" });
  const canvas = document.createElement("canvas");
  [canvas.width, canvas.height] = [picture.width, picture.height];
  canvas.getContext("2d").drawImage(picture, 0, 0);
  canvas.setAttribute("role", "img");
  canvas.setAttribute("aria-label", `The chosen photo, ${file.name}`);
  return canvas;
}
