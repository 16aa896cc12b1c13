// A photo on its way to the box: told before it leaves when it is too large, and how far it is.

const form = document.querySelector("[data-upload]");
const answer = document.getElementById("answer");
const line = form.querySelector("[data-progress]");
const THUMB_PX = 480;
const mostBytes = Number(form.dataset.mostBytes);

// The camera is a second place to choose from; without a script the first one offers it too.
form.querySelector("[data-sources]").append(document.getElementById("camera").content.cloneNode(true));
const inputs = [...form.querySelectorAll("[type=file]")];

for (const input of inputs) {
  input.addEventListener("change", () => {
    for (const other of inputs) if (other !== input) other.value = "";
    for (const each of inputs) each.required = each === input;
    say("");
    showChosen(input.files[0]);
  });
}

// Drawn, not linked: the page's rules let no picture in from elsewhere. What this browser cannot
// read (HEIC on most) is shown once the box has looked at it.
async function showChosen(file) {
  const canvas = form.querySelector("[data-chosen]");
  canvas.hidden = true;
  try {
    const picture = await createImageBitmap(file, { resizeWidth: THUMB_PX, resizeQuality: "medium" });
    [canvas.width, canvas.height] = [picture.width, picture.height];
    canvas.getContext("2d").drawImage(picture, 0, 0);
    canvas.hidden = false;
  } catch {
    // No picture for this browser; the box says so if it is none at all.
  }
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  const file = inputs.flatMap((input) => [...input.files])[0];
  if (!file) return say("Choose a photo first, or take one.");
  if (file.size > mostBytes) {
    return say(`This photo has ${Math.ceil(file.size / 1e6)} MB, and the box takes ${mostBytes / 1e6}. Save a smaller copy.`);
  }
  send(file);
});

function send(file) {
  const body = new FormData(form);
  body.delete("photo"); // of two places to choose from one is empty
  body.append("photo", file, file.name);
  const request = new XMLHttpRequest(); // fetch cannot tell how much has left
  request.open("POST", form.action);
  request.setRequestHeader("Accept", "application/json");
  request.responseType = "json";
  request.upload.onprogress = ({ loaded, total }) => show(loaded / total);
  request.onload = () => arrived(request.response);
  request.onerror = () => arrived(null);
  say("");
  show(0);
  request.send(body);
}

function arrived(response) {
  if (response?.next) return void location.assign(response.next);
  line.hidden = true;
  form.querySelector("button").disabled = false;
  say(response?.sentence ?? "The photo did not arrive. Look whether this phone still reaches the box, then try again.");
}

function show(share) {
  form.querySelector("button").disabled = true;
  line.hidden = false;
  line.querySelector("progress").value = share;
  line.querySelector("[data-said]").textContent = share < 1 ? "" : "The box is checking the photo.";
}

function say(sentence) {
  answer.textContent = sentence;
}
