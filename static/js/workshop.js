// Shows what a pattern of batch numbers gives while it is typed, and leads to what has to be mended.
"use strict";

document.getElementById("faults")?.focus();

const settings = document.getElementById("settings");
if (settings) {
  const field = settings.elements.batch_number_pattern;
  const told = document.getElementById("number-example");
  let timer = 0;
  let asked = 0;
  const show = async () => {
    const mine = ++asked;
    const query = new URLSearchParams({ pattern: field.value });
    const answer = await fetch(`${settings.dataset.example}?${query}`).catch(() => null);
    if (answer?.ok && mine === asked) told.textContent = (await answer.json()).words;
  };
  field.addEventListener("input", () => { window.clearTimeout(timer); timer = window.setTimeout(show, 250); });
}
