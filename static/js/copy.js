// Copy buttons: shown only where a script can copy, and they say what happened.


document.addEventListener("click", async (event) => {
  const button = event.target.closest("[data-copy]");
  if (!button) return;
  const text = document.getElementById(button.dataset.copy).textContent.trim();
  const words = button.textContent;
  try {
    await navigator.clipboard.writeText(text);
    button.textContent = "Copied";
  } catch {
    const range = document.createRange();
    range.selectNodeContents(document.getElementById(button.dataset.copy));
    getSelection().removeAllRanges();
    getSelection().addRange(range);
    button.textContent = "Marked: press Ctrl C";
  }
  setTimeout(() => { button.textContent = words; }, 2500);
});

function showCopyButtons() {
  document.querySelectorAll("[data-copy][hidden]").forEach((button) => { button.hidden = false; });
}
showCopyButtons();
document.addEventListener("tarebook:swapped", showCopyButtons);
