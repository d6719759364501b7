// Sends a form as soon as it is typed into, one request at a time: the first key at once, the next ones together when
// the answer is there. What was typed is never dropped.

const RETRY_MS = 3000;

export class Live {
  // tell: { saving failed, refused, conflict, answer } as functions; key: where unsent words wait in this tab.
  constructor(form, key, tell) {
    this.form = form;
    this.key = key;
    this.tell = tell;
    this.timer = 0;
    this.turn = Promise.resolve();
    this.waiting = 0;
    this.edits = 0;
    this.saved = 0;
    this.held = false;
    this.since = new Map();
  }

  get unsaved() { return this.edits !== this.saved; }

  // A field was typed into: send soon, unless a conflict has to be settled first.
  typed(field) {
    this.edits += 1;
    if (field && field.name) this.since.set(field.name, field);
    if (!this.held) this.soon(0);
  }

  soon(wait) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => { if (!this.waiting) this.now(); else this.late = true; }, wait);
  }

  // Send what stands in the form when its turn comes, with what else is asked for.
  now(action = "", extra = {}) {
    clearTimeout(this.timer);
    this.waiting += 1;
    this.turn = this.turn.then(() => this.send(action, extra)).catch(() => undefined).finally(() => {
      this.waiting -= 1;
      if (!this.waiting && this.late) { this.late = false; this.soon(0); }
    });
    return this.turn;
  }

  words(action) {
    const words = new URLSearchParams(new FormData(this.form));
    if (action) words.set("do", action);
    return words;
  }

  async send(action, extra) {
    const edits = this.edits;
    this.since.clear();
    const words = this.words(action);
    Object.entries(extra).forEach(([name, value]) => words.set(name, value));
    sessionStorage.setItem(this.key, this.words("").toString());
    const answer = await this.fetch(words);
    if (!answer) return undefined;
    if (answer.status === 409) { this.held = true; this.tell.conflict(await answer.json()); return undefined; }
    const found = await answer.json();
    this.held = false;
    if (answer.ok) { this.saved = Math.max(this.saved, edits); sessionStorage.removeItem(this.key); }
    this.tell.answer(found, { action, stale: this.edits !== edits && !action, taken: answer.ok, newer: [...this.since.values()] });
    return found;
  }

  async fetch(words) {
    try {
      const answer = await fetch(this.form.action, { method: "POST", body: words, headers: { "X-Live": "1" } });
      if ([200, 409, 422].includes(answer.status)) return answer;
      this.failed(answer.status);
    } catch {
      this.failed(0);
    }
    return undefined;
  }

  failed(status) {
    this.edits += 1;
    this.tell.failed(status);
    this.soon(RETRY_MS);
  }

  // The page goes away: send the rest without waiting for an answer.
  leave() { if (this.unsaved && !this.held) navigator.sendBeacon(this.form.action, this.words("")); }
}
