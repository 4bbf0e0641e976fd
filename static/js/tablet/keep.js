// Keeps what is typed: on the tablet before the thumb is off, then on the server, in order, each operation once.

const RETRY_MS = 4000;

// UUID version 7 (RFC 9562): sorts by time, made here so that a repeated sending is the same operation.
export function uuid7() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  let time = Date.now();
  for (let index = 5; index >= 0; index -= 1) {
    bytes[index] = time % 256;
    time = Math.floor(time / 256);
  }
  bytes[6] = (bytes[6] & 0x0f) | 0x70;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
}

export class Keeper {
  constructor(visit, url, status, onResult, onRefusal) {
    this.name = `saltround-visit-${visit}`;
    this.url = url;
    this.status = status;
    this.onResult = onResult;
    this.onRefusal = onRefusal;
    this.queue = this.load();
    this.sending = null;
    this.say();
    if (this.queue.length) this.flush();
  }

  load() {
    try {
      return JSON.parse(localStorage.getItem(this.name) ?? "[]");
    } catch {
      return [];
    }
  }

  save() {
    try {
      localStorage.setItem(this.name, JSON.stringify(this.queue));
    } catch {
      this.say(true);
    }
    this.say();
  }

  waiting() {
    return this.queue;
  }

  isEmpty() {
    return this.queue.length === 0;
  }

  // A keystroke: kept here at once; the sending follows when the typing pauses.
  remember(answer) {
    const known = this.queue.find((row) => row.key === answer.key && !row.sent);
    if (known) Object.assign(known, answer, { entered_at: new Date().toISOString() });
    else this.queue.push({ ...answer, operation: uuid7(), entered_at: new Date().toISOString() });
    this.save();
  }

  keep(answer) {
    this.queue = this.queue.filter((row) => row.key !== answer.key || row.sent);
    this.queue.push({ ...answer, operation: uuid7(), entered_at: new Date().toISOString() });
    this.save();
    return this.flush();
  }

  flush() {
    this.sending ??= this.send().finally(() => {
      this.sending = null;
      if (this.queue.length) setTimeout(() => this.flush(), RETRY_MS);
    });
    return this.sending;
  }

  async send() {
    while (this.queue.length) {
      const row = this.queue[0];
      row.sent = true;
      const { sent, ...values } = row;
      let answer;
      let html;
      try {
        answer = await fetch(this.url, {
          method: "POST",
          body: new URLSearchParams(values),
          headers: { "X-CSRFToken": document.querySelector("meta[name=csrf-token]").content, "HX-Request": "true" },
        });
        html = await answer.text();
      } catch {
        row.sent = false;
        this.say(true);
        return;
      }
      if (!answer.ok && answer.status !== 409 && answer.status !== 400) {
        row.sent = false;
        this.say(true);
        return;
      }
      this.queue.shift();
      this.save();
      const later = this.queue.some((other) => other.key === row.key);
      if (!later) (answer.ok ? this.onResult : this.onRefusal)(row.key, html);
    }
  }

  say(failed = false) {
    const { waiting, sending, kept } = this.status.dataset;
    const clock = new Date().toTimeString().slice(0, 5);
    this.status.textContent = failed ? waiting : this.queue.length ? sending : `${kept} · ${clock}`;
    this.status.dataset.state = failed ? "bad" : "good";
  }
}
