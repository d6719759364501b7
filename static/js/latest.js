// One question at a time. While one is on its way only the newest further one waits; an answer that a newer question
// has overtaken is handed over marked as stale.
export class Latest {
  // ask: what fetches (an async function); tell: { shown(answer, stale), failed(fault) }; wait: rest before asking, ms.
  constructor(ask, { shown, failed = () => {}, wait = 0 }) {
    Object.assign(this, { fetch: ask, shown, failed, wait, wanted: null, busy: false, timer: 0 });
  }

  get pending() { return this.busy || this.wanted !== null; }

  ask(...what) {
    this.wanted = what;
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.next(), this.wait);
  }

  drop() { this.wanted = null; this.dropped = this.busy; clearTimeout(this.timer); }

  async next() {
    if (this.busy || !this.wanted) return;
    const what = this.wanted;
    this.wanted = null;
    this.busy = true;
    this.dropped = false;
    try {
      const answer = await this.fetch(...what);
      if (!this.dropped) this.shown(answer, this.wanted !== null);
    } catch (fault) {
      if (!this.wanted && !this.dropped) this.failed(fault);
    } finally {
      this.busy = false;
      if (this.wanted) this.next();
    }
  }
}

// Fetch and read an answer; anything but a good one is a fault.
export async function get(address, read = "json", options = {}) {
  const answer = await fetch(address, options);
  if (!answer.ok) throw new Error(String(answer.status));
  return answer[read]();
}

export function focusFaults() { document.getElementById("faults")?.focus(); }
