// A patch is tapped, and its figures are said beneath the card's grid.

const said = document.querySelector("[data-tapped]");
if (said) {
  said.textContent = "Tap a patch to see its figures.";
  document.querySelector(".patch-grid").addEventListener("change", ({ target }) => {
    said.textContent = document.getElementById(target.getAttribute("aria-describedby")).textContent;
  });
}
