// A picture handed to another app of the phone. Browsers offer it only where the page comes by
// HTTPS; elsewhere the link saves the picture, as it does without a script.

for (const link of document.querySelectorAll("a[data-share]")) {
  const probe = new File([], "tile.jpg", { type: "image/jpeg" });
  if (!navigator.canShare?.({ files: [probe] })) continue;
  const button = document.createElement("button");
  button.type = "button";
  button.className = "button plain";
  button.textContent = "Share";
  button.addEventListener("click", async () => {
    const picture = await (await fetch(link.href)).blob();
    const file = new File([picture], link.download, { type: picture.type });
    await navigator.share({ files: [file], title: link.dataset.share }).catch(() => {}); // thought better of it
  });
  link.after(button);
}
