// A step at the bench: nothing typed is lost. What could not be sent is kept, marked unsaved, and sent again.
"use strict";

(() => {
  const box = document.getElementById("bench-step");
  if (!box) return;
  const place = `tarebook.${box.dataset.place}`;
  const UNSENT = `${place}.unsent`;
  const AGAIN_MS = 4000;
  let timer = 0;
  let sending = false;

  const recall = (key) => { try { return JSON.parse(sessionStorage.getItem(key)); } catch { return null; } };
  const keep = (key, value) => { try { sessionStorage.setItem(key, JSON.stringify(value)); } catch { /* the page still holds it */ } };
  const forget = (key) => { try { sessionStorage.removeItem(key); } catch { /* nothing was kept */ } };
  const draftOf = (form) => `${place}.typed.${form.dataset.keep}`;

  function remember(form) {
    const typed = Object.fromEntries([...new FormData(form)].filter(([name]) => name !== "key" && name !== "row_version"));
    keep(draftOf(form), typed);
  }

  function restore(form) {
    for (const [name, value] of Object.entries(recall(draftOf(form)) ?? {})) {
      const field = form.elements[name];
      if (field && field.type !== "hidden" && value !== "") field.value = value;
    }
  }

  function say(words) {
    const line = document.getElementById("unsent");
    line.hidden = !words;
    line.textContent = words;
    if (!words) return;
    const now = document.createElement("button");
    now.type = "button";
    now.textContent = "Send now";
    now.addEventListener("click", send);
    line.append(now);
  }

  function show(html) {
    const page = new DOMParser().parseFromString(html, "text/html");
    document.title = page.title;
    box.replaceChildren(...page.getElementById("bench-step").childNodes);
    listen();
    (box.querySelector(".faults") || box).focus();
  }

  async function send() {
    const unsent = recall(UNSENT);
    if (!unsent || sending) return;
    sending = true;
    clearTimeout(timer);
    try {
      const body = new URLSearchParams(unsent.fields);
      const answer = await fetch(unsent.action, { method: "POST", body, redirect: "manual", signal: AbortSignal.timeout(15000) });
      if (answer.status >= 500) throw new Error(String(answer.status));
      forget(UNSENT);
      if (answer.type === "opaqueredirect" || answer.status === 404) {
        if (unsent.draft) forget(unsent.draft);
        location.replace(box.dataset.home);
        return;
      }
      show(await answer.text());
    } catch {
      say("Not saved: no connection. It is kept on this page and sent again by itself.");
      timer = setTimeout(send, AGAIN_MS);
    } finally {
      sending = false;
    }
  }

  function listen() {
    for (const form of box.querySelectorAll("form[data-keep]")) {
      restore(form);
      form.addEventListener("input", () => remember(form));
    }
    for (const form of box.querySelectorAll("form[data-send]")) {
      form.addEventListener("submit", (event) => {
        event.preventDefault();
        if (recall(UNSENT)) return void send();
        keep(UNSENT, {
          action: form.getAttribute("action"),
          draft: form.dataset.keep ? draftOf(form) : "",
          fields: [...new FormData(form)],
        });
        send();
      });
    }
    const own = box.querySelector("#uncertainty");
    own?.addEventListener("input", () => { own.form.elements.instrument.value = "own"; });
  }

  listen();
  if (recall(UNSENT)) send();
  window.addEventListener("online", send);
})();
