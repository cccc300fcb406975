const STORE = "ground-power-readings/";
const AGAIN_MS = 4000; // what waits is sent again
const ANEW_MS = 30000; // the page is asked for anew, so that it shows what other devices did
const JUMP_MS = 1500; // a clock that was set, or a device that slept
const BACK_MS = 30000; // the record's clock was set back: no network delays so long
const OFFSETS_KEPT = 5;
const KEYS = ["7", "8", "9", "back", "4", "5", "6", "minus", "1", "2", "3", "note", "0", "point"];
const KEY_WORDS = { back: "⌫", minus: "±", note: "Note", point: "." };
const KEY_NAMES = { back: "Delete digit", minus: "Change sign", point: "Decimal point" };

/** The record's clock: a clock of this device that nobody can set, plus an offset measured anew. */
class RecordClock {
  offsets = [];

  /** The page came with this moment of the record; it is older by what the network took. */
  seen(nowMs) {
    const offset = nowMs - performance.now();
    if (this.jumped() || offset < this.offset() - BACK_MS) this.offsets = [];
    this.offsets = [...this.offsets, offset].slice(-OFFSETS_KEPT);
    this.gap = Date.now() - performance.now();
  }

  offset() { return Math.max(...this.offsets); }

  now() { return performance.now() + this.offset(); }

  /** Whether this device slept, or its clock was set, since the record's moment was last known. */
  jumped() { return Math.abs(Date.now() - performance.now() - this.gap) > JUMP_MS; }
}

/** Entries by connection in the browser's storage, or in memory where that is closed. */
class Entries {
  memory = {};

  of(connection) {
    if (connection === null) return [];
    try {
      return JSON.parse(localStorage.getItem(STORE + connection)) ?? this.memory[connection] ?? [];
    } catch {
      return this.memory[connection] ?? [];
    }
  }

  save(connection, items) {
    delete this.memory[connection];
    try {
      if (items.length) localStorage.setItem(STORE + connection, JSON.stringify(items));
      else localStorage.removeItem(STORE + connection);
    } catch {
      this.memory[connection] = items;
    }
  }

  connections() {
    try {
      const stored = Object.keys(localStorage).filter((key) => key.startsWith(STORE));
      return [...new Set([...stored.map((key) => key.slice(STORE.length)), ...Object.keys(this.memory)])];
    } catch {
      return Object.keys(this.memory);
    }
  }

  /** Takes out what is stored, and notes why what was refused was; an undone refusal goes too. */
  settle(stored, refused) {
    for (const connection of this.connections()) {
      const left = this.of(connection).filter((item) => !stored.has(item.id))
        .map((item) => (item.id in refused ? { ...item, refused: refused[item.id] } : item));
      const gone = new Set(left.filter((item) => item.kind === "strike").map((item) => item.target)
        .filter((target) => left.some((item) => item.id === target && item.refused)));
      this.save(connection, left.filter((item) => !gone.has(item.id) && !gone.has(item.target)));
    }
  }

  /** Entries whose connection no record has, each with its connection. */
  strays(unknown) {
    return this.connections().flatMap((connection) => this.of(connection)
      .filter((item) => unknown.includes(item.id)).map((item) => ({ ...item, connection })));
  }

  /** What may be sent: timed and not refused, of every connection. */
  outgoing() {
    return this.connections().flatMap((connection) => this.of(connection)
      .filter((item) => !item.refused && item.at_ms)
      .map(({ wall_ms, ...item }) => ({ ...item, connection })));
  }
}

class MeterPad {
  constructor(root) {
    this.root = root;
    this.text = "";
    this.kind = null;
    this.attempt = 0;
    this.sentAt = -Infinity;
    this.clock = new RecordClock();
    this.entries = new Entries();
    this.find = (name) => root.querySelector(`.pad-${name}`);
    root.tabIndex = 0;
    root.addEventListener("keydown", (event) => this.typed(event));
    KEYS.forEach((key) => this.find("keys").append(this.button(
      KEY_WORDS[key] ?? key, () => this.press(key), `pad-${key}`, KEY_NAMES[key])));
    this.find("answer").onclick = () => this.choose(`tell:${this.data.question.name}`);
    this.find("skip").onclick = () => this.put({ kind: "skip", quantity: this.data.question.name });
    this.find("meant").onclick = () => this.settle(this.doubt.meant);
    this.find("as-is").onclick = () => this.settle(this.doubt.value);
    this.find("again").onclick = () => this.choose(this.kind);
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
    this.shownAt = performance.now();
    this.clock.seen(data.now_ms);
    if (other) this.choose(data.kinds[0].name, false);
    this.root.classList.toggle("closed", data.closed);
    this.root.classList.toggle("nothing", data.connection === null);
    this.entries.settle(new Set(data.stored), data.refused);
    const timed = this.timeThoseWithout();
    this.drawAll();
    clearInterval(this.timer);
    this.timer = setInterval(() => this.tick(), 500);
    this.tick();
    if (timed || (other && this.entries.outgoing().length)) this.transmit();
  }

  stop() { clearInterval(this.timer); }

  waiting() { return this.entries.of(this.data.connection); }

  /** Presses made while the clock was in doubt get their moment from how long ago they were. */
  timeThoseWithout() {
    const before = this.waiting();
    const timed = before.map((item) => (item.at_ms ? item
      : { ...item, at_ms: this.notBefore(this.data.now_ms - Math.max(Date.now() - item.wall_ms, 0)) }));
    if (before.some((item) => !item.at_ms)) this.entries.save(this.data.connection, timed);
    return before.some((item) => !item.at_ms);
  }

  put(item) {
    const wall = Date.now();
    const at = this.clock.jumped() ? null : this.notBefore(this.clock.now());
    const id = crypto.randomUUID?.() ?? `${wall}-${Math.random().toString(36).slice(2)}`;
    this.entries.save(this.data.connection, [...this.waiting(), { id, at_ms: at, wall_ms: wall, ...item }]);
    navigator.vibrate?.(20);
    this.transmit();
    this.drawAll();
    this.tick();
  }

  /** A moment as whole milliseconds, not before the beginning by what the network took. */
  notBefore(ms) { return Math.round(Math.max(ms, this.data.started_ms)); }

  /** Sends what waits; with nothing to send it still brings the record's clock and its news. */
  transmit() {
    this.sentAt = performance.now();
    this.attempt += 1;
    this.send({ items: this.entries.outgoing(), attempt: this.attempt });
  }

  tick() {
    this.placeBelowPin();
    const now = this.clock.now();
    this.find("clock").textContent = this.data.closed ? "" : clock(now - this.data.started_ms);
    const due = this.data.due_ms === null ? null : this.data.due_ms - now;
    this.find("next").textContent = due === null ? this.data.next_words :
      due > 0 ? `next reading in ${clock(due)}` : "read the meter now";
    const count = this.waiting().filter((item) => !item.refused).length;
    this.find("waiting").textContent = count ? `${count} not yet stored` : "";
    this.sendWhereWanted(count);
  }

  sendWhereWanted(count) {
    const since = performance.now() - this.sentAt;
    const open = !this.data.closed && document.visibilityState === "visible";
    const stale = performance.now() - this.shownAt > ANEW_MS && since > ANEW_MS;
    if (since > AGAIN_MS && (count || (open && (stale || this.clock.jumped())))) this.transmit();
  }

  /** What is typed stays in sight below the outcome, which is pinned to the top. */
  placeBelowPin() {
    const pin = document.querySelector(".jc-pin");
    const top = pin ? parseFloat(getComputedStyle(pin.closest("[data-testid=stElementContainer]") ?? pin).top) : 0;
    this.root.style.setProperty("--below-pin", `${pin ? pin.offsetHeight + (top || 0) : 0}px`);
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
    this.doubt = this.doubtOf(this.name(), value);
    if (this.doubt === null) this.settle(value);
    else this.drawAll();
  }

  /** A value goes into the list, and the pad back to the meter. */
  settle(value) {
    const kind = this.isTelling() ? "tell" : "reading";
    const quantity = this.name();
    this.choose(this.data.kinds[0].name, false);
    this.put({ kind, quantity, value });
  }

  isTelling() { return this.kind.startsWith("tell:"); }

  name() { return this.isTelling() ? this.kind.slice(5) : this.kind; }

  unit() {
    return this.isTelling() ? this.data.question?.unit ?? ""
      : this.data.kinds.find((kind) => kind.name === this.kind).unit;
  }

  /** Why a value is to be asked about, by what the page expects, or null. */
  doubtOf(name, value) {
    const expected = this.data.expected[name];
    if (!expected) return null;
    const before = this.lines().filter((line) => line.quantity === name).slice(0, 2);
    if (expected.marks.includes(Math.abs(value))) return { value, meant: null, words: expected.mark_words };
    const meant = meantBy(value, expected, before);
    if (value < expected.least) return { value, meant, words: expected.words[0] };
    if (expected.most !== null && value > expected.most) return { value, meant, words: expected.words[1] };
    const beside = expected.beside;
    if (!beside || !before.length) return null;
    const now = (this.clock.now() - this.data.started_ms) / 1000;
    const near = (line, per_s) => apart(value, line.value, beside.floor) <=
      (this.isSwitchedSince(line) ? beside.switched : beside.most) + per_s * (now - line.elapsed_s);
    if (before.some((line) => near(line, 0))) return null;
    if (meant === null && before.some((line) => near(line, beside.per_s))) return null;
    return { value, meant, words: `The last was ${before[0].value} ${this.unit()}.` };
  }

  isSwitchedSince(line) {
    const here = this.lines().filter((one) => one.waits && one.kind === "mark").map((one) => one.elapsed_s);
    return [...this.data.switched_s, ...here].some((s) => s >= line.elapsed_s);
  }

  elapsedOf(item) {
    const at = item.at_ms ?? this.clock.now() - Math.max(Date.now() - item.wall_ms, 0);
    return (at - this.data.started_ms) / 1000;
  }

  choose(kind, draw = true) {
    this.kind = kind;
    this.text = "";
    this.doubt = null;
    if (draw) this.drawAll();
  }

  /** Readings, answers and marks, the newest first: those that wait here before the record's. */
  lines() {
    const waits = this.waiting().filter((item) => !item.refused);
    const struck = new Set(waits.filter((item) => item.kind === "strike").map((item) => item.target));
    const here = waits.filter((item) => ["reading", "tell", "mark"].includes(item.kind))
      .map((item) => ({ ...item, waits: true, elapsed_s: this.elapsedOf(item) }));
    return [...here.reverse(), ...this.data.last].filter((line) => !struck.has(line.id));
  }

  drawAll() {
    if (this.isTelling() && this.data.question?.name !== this.name()) this.choose(this.data.kinds[0].name, false);
    this.drawQuestion();
    this.find("kinds").replaceChildren(...this.data.kinds.map((kind) => {
      const made = this.button(kind.label, () => this.choose(kind.name));
      made.setAttribute("aria-pressed", String(kind.name === this.kind));
      return made;
    }));
    this.find("what").textContent = this.isTelling() ? this.data.question.text
      : this.data.kinds.find((kind) => kind.name === this.kind).label;
    this.find("value").textContent = this.text;
    this.find("unit").textContent = this.unit();
    this.drawDoubt();
    this.find("marks").replaceChildren(...this.data.marks.map((mark) =>
      this.button(mark, () => this.put({ kind: "mark", quantity: "event", text: mark }))));
    this.find("last").replaceChildren(...this.lines()
      .filter((line, place) => place < 3 || line.stays).map((line) => this.line(line)));
    this.drawRefused();
  }

  /** A refusal stands above the keys, and a new one is brought into sight. */
  drawRefused() {
    const refused = this.waiting().filter((item) => item.refused);
    const strays = this.entries.strays(this.data.unknown);
    this.root.classList.toggle("strays", strays.length > 0);
    this.find("refused").replaceChildren(...refused.map((item) => this.refusal(item)),
      ...strays.map((item) => this.stray(item)));
    const seen = this.seenRefused ?? new Set();
    const listed = [...refused, ...strays];
    this.seenRefused = new Set(listed.map((item) => item.id));
    if (listed.some((item) => !seen.has(item.id))) this.find("refused").scrollIntoView({ block: "center" });
  }

  drawQuestion() {
    const asked = this.data.question;
    this.find("ask").hidden = !asked;
    this.find("ask").classList.toggle("answering", this.isTelling());
    this.find("ask-text").textContent = asked?.text ?? "";
    this.find("answer").setAttribute("aria-pressed", String(this.isTelling()));
  }

  drawDoubt() {
    this.find("slip").hidden = !this.doubt;
    this.find("slip-text").textContent = "";
    if (!this.doubt) return;
    const { value, meant, words } = this.doubt;
    const unit = this.unit();
    const instead = meant === null ? "" : ` Did you mean ${meant} ${unit}?`;
    this.find("slip-text").textContent = `${value} ${unit}? ${words}${instead}`;
    this.find("meant").hidden = meant === null;
    this.find("meant").textContent = `${meant} ${unit}`;
    this.find("as-is").textContent = `It is ${value} ${unit}`;
  }

  line(line) {
    const words = line.text
      ?? `${line.value} ${this.unitOf(line.quantity)} ${this.data.names[line.quantity] ?? ""}`.trim();
    const waits = line.waits ? " (not yet stored)" : line.remark ? ` (${line.remark})` : "";
    return this.row(`${clock(1000 * line.elapsed_s)}   ${words}${waits}`, this.button("Undo", () =>
      this.put({ kind: "strike", quantity: line.quantity, target: line.id }), "", `Undo ${words}`));
  }

  /** What the record did not take stays here, with the reason, until a person takes it away. */
  refusal(item) {
    const what = this.whatOf(item);
    const change = (items) => {
      this.entries.save(this.data.connection, items);
      this.drawAll();
    };
    const others = () => this.waiting().filter((one) => one.id !== item.id);
    return this.row(`${what} at ${clock(1000 * this.elapsedOf(item))} was not taken. ${item.refused}`,
      this.button("Send again", () => {
        const { refused, ...again } = item;
        change([...others(), again]);
        this.transmit();
      }),
      this.button("Take away", () => change(others()), "", `Take away ${what}`));
  }

  /** What no record knows stays here too: it goes where its record is opened again, or taken away. */
  stray(item) {
    const what = this.whatOf(item);
    const take = () => {
      this.entries.save(item.connection, this.entries.of(item.connection).filter((one) => one.id !== item.id));
      this.drawAll();
    };
    return this.row(`${what}, pressed ${moment(item.at_ms ?? item.wall_ms)}, ${this.data.unknown_words}.`,
      this.button("Take away", take, "", `Take away ${what}`));
  }

  whatOf(item) {
    return { strike: "Undo", skip: "Skip" }[item.kind] ?? item.text
      ?? `${item.value ?? ""} ${this.unitOf(item.quantity)}`.trim();
  }

  row(words, ...buttons) {
    const made = document.createElement("li");
    const said = document.createElement("span");
    said.textContent = words;
    made.append(said, ...buttons);
    return made;
  }

  unitOf(name) {
    return this.data.kinds.find((kind) => kind.name === name)?.unit
      ?? { load_a: "A", rest_voltage_v: "V" }[name] ?? "";
  }
}

/** Distance of two values: of their logarithms beside a floor, or their difference. */
function apart(value, before, floor) {
  if (floor === null) return Math.abs(value - before);
  return Math.abs(Math.log((Math.abs(value) + floor) / (Math.abs(before) + floor)));
}

/** The value with its decimal point where it fits, near the last one or else within bounds. */
function meantBy(value, expected, before) {
  const others = [value * 10, value / 10, value / 100].map((v) => Number.parseFloat(v.toPrecision(6)))
    .filter((v) => v >= expected.least && (expected.most === null || v <= expected.most));
  const inside = value >= expected.least && (expected.most === null || value <= expected.most);
  if (!before.length) return inside || others.length !== 1 ? null : others[0];
  const away = (v) => (v && before[0].value ? apart(v, before[0].value, 0) : Infinity);
  const best = others.reduce((a, b) => (away(b) < away(a) ? b : a), others[0] ?? 0);
  return away(best) < Math.log(expected.near) ? best : null;
}

function two(n) { return String(n).padStart(2, "0"); }

/** Day and time of a moment, by the calendar of this device. */
function moment(ms) {
  const at = new Date(ms);
  return `${at.getFullYear()}-${two(at.getMonth() + 1)}-${two(at.getDate())} at ${two(at.getHours())}:${two(at.getMinutes())}`;
}

function clock(ms) {
  const seconds = Math.max(Math.floor(ms / 1000), 0);
  const minutes = Math.floor(seconds / 60);
  const hours = Math.floor(minutes / 60);
  return hours ? `${hours}:${two(minutes % 60)}:${two(seconds % 60)}` : `${minutes}:${two(seconds % 60)}`;
}

export default function (component) {
  const { data, parentElement, setTriggerValue } = component;
  const root = parentElement.querySelector(".pad");
  root.pad ??= new MeterPad(root);
  root.pad.show(data, (sent) => setTriggerValue("sent", sent));
  return () => root.pad.stop();
}
