// The pH section: drawn anew after each save, the newest answer only.
"use strict";

(() => {
  const slot = document.getElementById("ph-section");
  if (!slot) return;
  let asked = null;
  document.addEventListener("tarebook:swapped", async () => {
    if (asked) asked.abort();
    asked = new AbortController();
    slot.classList.add("ph-waiting");
    const open = [...slot.querySelectorAll("details")].map((one) => one.open);
    try {
      const answer = await fetch(slot.dataset.source, { signal: asked.signal });
      if (!answer.ok) return;
      slot.innerHTML = await answer.text();
      slot.querySelectorAll("details").forEach((one, place) => { one.open = Boolean(open[place]); });
      slot.classList.remove("ph-waiting");
    } catch (fault) {
      if (fault.name !== "AbortError") slot.classList.remove("ph-waiting");
    }
  });
})();
