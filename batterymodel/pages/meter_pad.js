const STORE = "ground-power-readings/";
const AGAIN_MS = 4000;
const KEYS = ["7", "8", "9", "back", "4", "5", "6", "minus", "1", "2", "3", "note", "0", "point"];
const KEY_WORDS = { back: "⌫", minus: "±", note: "Note", point: "." };
const KEY_NAMES = { back: "Delete digit", minus: "Change sign", point: "Decimal point" };

class MeterPad {
  constructor(root) {
    this.root = root;
    this.text = "";
    this.kind = null;
    this.attempt = 0;
    this.sentAt = 0;
    this.find = (name) => root.querySelector(`.pad-${name}`);
    root.tabIndex = 0;
    root.addEventListener("keydown", (event) => this.typed(event));
    KEYS.forEach((key) => this.find("keys").append(this.button(
      KEY_WORDS[key] ?? key, () => this.press(key), `pad-${key}`, KEY_NAMES[key])));
    this.find("answer").onclick = () => this.choose(`tell:${this.data.question.name}`);
    this.find("skip").onclick = () => this.put({ kind: "skip", quantity: this.data.question.name });
    this.find("meant").onclick = () => this.settle(this.doubt.meant);
    this.find("as-is").onclick = () => this.settle(this.doubt.value);
  }

  button(words, press, name = "", label = null) {
    const made = document.createElement("button");
    made.type = "button";
    made.textContent = words;
    made.className = name;
    if (label) made.setAttribute("aria-label", label);
    made.onclick = press;
    return made;
  }

  show(data, send) {
    const other = this.data?.connection !== data.connection;
    this.data = data;
    this.send = send;
    // The server's clock less this one's, as it came with least delay.
    this.skew = Math.max(other ? -Infinity : this.skew, data.now_ms - Date.now());
    if (other) this.kind = data.kinds[0].name;
    this.root.classList.toggle("closed", data.closed);
    const kept = new Set(data.confirmed);
    this.save(this.waiting().filter((item) => !kept.has(item.id)));
    this.drawAll();
    clearInterval(this.timer);
    this.timer = setInterval(() => this.tick(), 500);
    this.tick();
  }

  stop() { clearInterval(this.timer); }

  waiting() {
    try {
      return JSON.parse(localStorage.getItem(STORE + this.data.connection)) ?? [];
    } catch {
      return this.unsaved ?? [];
    }
  }

  save(items) {
    this.unsaved = items;
    try {
      if (items.length) localStorage.setItem(STORE + this.data.connection, JSON.stringify(items));
      else localStorage.removeItem(STORE + this.data.connection);
    } catch { /* kept in memory only; the line below the clock says what waits */ }
  }

  put(item) {
    const at = Math.round(Date.now() + this.skew);
    const id = crypto.randomUUID?.() ?? `${at}-${Math.random().toString(36).slice(2)}`;
    this.save([...this.waiting(), { id, at_ms: at, ...item }]);
    navigator.vibrate?.(20);
    this.transmit();
    this.drawAll();
    this.tick();
  }

  transmit() {
    const items = this.waiting();
    if (!items.length) return;
    this.sentAt = Date.now();
    this.attempt += 1;
    this.send({ items, attempt: this.attempt });
  }

  tick() {
    const now = Date.now() + this.skew;
    this.find("clock").textContent = this.data.closed ? "" : clock(now - this.data.started_ms);
    const due = this.data.due_ms === null ? null : this.data.due_ms - now;
    this.find("next").textContent = due === null ? "" :
      due > 0 ? `next reading in ${clock(due)}` : "read the meter now";
    const count = this.waiting().length;
    this.find("waiting").textContent = count ? `${count} not yet stored` : "";
    if (count && Date.now() - this.sentAt > AGAIN_MS) this.transmit();
  }

  typed(event) {
    if (this.data.closed || event.ctrlKey || event.altKey || event.metaKey) return;
    const key = { Backspace: "back", Enter: "note", "-": "minus", ".": "point", ",": "point" }[event.key]
      ?? (/^[0-9]$/.test(event.key) ? event.key : null);
    if (!key || (key === "note" && event.target !== this.root)) return;
    event.preventDefault();
    this.press(key);
  }

  press(key) {
    if (key === "note") return this.note();
    if (key === "back") this.text = this.text.slice(0, -1);
    else if (key === "minus") this.text = this.text.startsWith("-") ? this.text.slice(1) : `-${this.text}`;
    else if (key === "point") this.text += this.text.includes(".") ? "" : this.text ? "." : "0.";
    else if (this.text.replace(/\D/g, "").length < 6) this.text += key;
    this.doubt = null;
    this.drawAll();
  }

  note() {
    const value = Number.parseFloat(this.text);
    if (!Number.isFinite(value)) return;
    const meant = this.meant(value);
    if (meant === null) return this.settle(value);
    this.doubt = { value, meant };
    this.drawAll();
  }

  settle(value) {
    this.doubt = null;
    this.text = "";
    const [kind, quantity] = this.kind.startsWith("tell:") ? ["tell", this.kind.slice(5)] : ["reading", this.kind];
    if (kind === "tell") this.kind = this.data.kinds[0].name;
    this.put({ kind, quantity, value });
  }

  /** A value ten times nearer to the last one of its kind, or null where it fits as it is. */
  meant(value) {
    const last = this.lines().find((line) => line.quantity === this.kind);
    if (!last || !last.value || !value) return null;
    const away = (candidate) => Math.abs(Math.log(Math.abs(candidate / last.value)));
    const [ten, tenth] = [value * 10, value / 10].map((v) => Number.parseFloat(v.toPrecision(6)));
    const better = away(ten) < away(tenth) ? ten : tenth;
    return away(value) > Math.log(4) && away(better) < Math.log(1.6) ? better : null;
  }

  choose(kind) {
    this.kind = kind;
    this.text = "";
    this.doubt = null;
    this.drawAll();
  }

  /** Last readings, the newest first: those that wait here before those the server has. */
  lines() {
    const here = this.waiting().filter((item) => item.kind === "reading")
      .map((item) => ({ ...item, waits: true, elapsed_s: (item.at_ms - this.data.started_ms) / 1000 }));
    return [...here.reverse(), ...this.data.last];
  }

  drawAll() {
    const kinds = [...this.data.kinds];
    const asked = this.data.question;
    this.find("ask").hidden = !asked || this.kind.startsWith("tell:");
    if (asked) this.find("ask-text").textContent = asked.text;
    if (this.kind.startsWith("tell:") && !asked) this.kind = kinds[0].name;
    this.find("kinds").replaceChildren(...kinds.map((kind) => {
      const made = this.button(kind.label, () => this.choose(kind.name), "");
      made.setAttribute("aria-pressed", String(kind.name === this.kind));
      return made;
    }));
    const now = kinds.find((kind) => kind.name === this.kind);
    this.find("value").textContent = this.text || (now ? "" : asked?.short ?? "");
    this.find("unit").textContent = now ? now.unit : asked?.unit ?? "";
    this.find("slip").hidden = !this.doubt;
    if (this.doubt) {
      const unit = now?.unit ?? "";
      this.find("slip-text").textContent = `${this.doubt.value} ${unit}? Did you mean ${this.doubt.meant} ${unit}?`;
      this.find("meant").textContent = `${this.doubt.meant} ${unit}`;
      this.find("as-is").textContent = `It is ${this.doubt.value} ${unit}`;
    }
    this.find("marks").replaceChildren(...this.data.marks.map((mark) =>
      this.button(mark, () => this.put({ kind: "mark", quantity: "event", text: mark }))));
    this.find("last").replaceChildren(...this.lines().slice(0, 3).map((line) => this.line(line)));
  }

  line(line) {
    const made = document.createElement("li");
    const kind = this.data.kinds.find((one) => one.name === line.quantity);
    const words = document.createElement("span");
    words.textContent = `${clock(1000 * line.elapsed_s)}   ${line.value} ${kind?.unit ?? ""}${line.waits ? " (not yet stored)" : ""}`;
    made.append(words, this.button("Undo", () => this.undo(line), "", `Undo ${line.value} ${kind?.unit ?? ""}`));
    return made;
  }

  undo(line) {
    this.put({ kind: "strike", quantity: line.quantity, target: line.id });
  }
}

function clock(ms) {
  const seconds = Math.max(Math.floor(ms / 1000), 0);
  const minutes = Math.floor(seconds / 60);
  const hours = Math.floor(minutes / 60);
  const two = (n) => String(n).padStart(2, "0");
  return hours ? `${hours}:${two(minutes % 60)}:${two(seconds % 60)}` : `${minutes}:${two(seconds % 60)}`;
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".pad");
  root.pad ??= new MeterPad(root);
  root.pad.show(data, (sent) => setTriggerValue("sent", sent));
  return () => root.pad.stop();
}
