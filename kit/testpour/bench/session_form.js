// The session form on the page. It draws the state that the kernel sends and sends back what is tapped. A tap waits in
// an outbox, kept by the browser too, until the kernel answers that it is on the disk; timers count from stored moments.

const PATIENCE = 6000; // ms without an answer after which a tap is shown as not saved
const HEAVY = 4e6; // bytes of a picture above which it is made smaller here: a message of more than 10 MB ends the connection
const WIDE = 2600; // pixels of a picture made smaller
const DEEDS = { time_right: "The time", head: "Today's room", catalyst_in: "Catalyst in", take_back: "Take back", unpour: "Take back catalyst in", photo_back: "Take back the photograph" };

const h = (tag, props = {}, ...kids) => {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === false || value === null || value === undefined) continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...kids.flat(9).filter((kid) => kid !== null && kid !== undefined && kid !== false));
  return node;
};

const two = (n) => String(n).padStart(2, "0");
const span = (ms) => {
  const s = Math.max(0, Math.floor(ms / 1000));
  if (s >= 172800) return `${Math.floor(s / 86400)} days`;
  const [hours, minutes] = [Math.floor(s / 3600), Math.floor(s / 60) % 60];
  return hours ? `${hours}:${two(minutes)}:${two(s % 60)}` : `${minutes}:${two(s % 60)}`;
};
const roughly = (ms) => {
  const minutes = Math.round(Math.abs(ms) / 60000);
  if (minutes < 60) return `${minutes} min`;
  if (minutes < 2880) return minutes < 600 && minutes % 60 ? `${Math.floor(minutes / 60)} h ${minutes % 60} min` : `${Math.round(minutes / 60)} h`;
  return `${Math.round(minutes / 1440)} days`;
};
const capital = (text) => text.slice(0, 1).toUpperCase() + text.slice(1);
const plural = (n, word) => `${n} ${word}${n === 1 ? "" : "s"}`;

// What the browser keeps: what was typed and what was tapped but not yet answered. Without its storage, memory serves.
class Kept {
  constructor(name) {
    this.name = `testpour ${name}`;
    try { this.held = JSON.parse(localStorage.getItem(this.name)) || {}; } catch { this.held = {}; }
    this.held = { typed: {}, outbox: [], head: null, ...this.held };
  }
  save() { try { localStorage.setItem(this.name, JSON.stringify(this.held)); } catch { /* memory serves */ } }
}

// A picture that can be sent: as it is, or smaller and upright where it is heavy.
const lighter = async (file) => {
  if (file.size <= HEAVY) return file;
  try {
    const image = await createImageBitmap(file);
    const scale = Math.min(1, WIDE / Math.max(image.width, image.height));
    const canvas = h("canvas", { width: Math.round(image.width * scale), height: Math.round(image.height * scale) });
    canvas.getContext("2d").drawImage(image, 0, 0, canvas.width, canvas.height);
    const made = await new Promise((done) => canvas.toBlob(done, "image/jpeg", 0.9));
    if (made && made.size < 2 * HEAVY) return made;
  } catch { /* no picture that this browser reads */ }
  if (file.size < 2 * HEAVY) return file; // the kernel says what is wrong with it
  throw new Error(`${file.name} has ${Math.round(file.size / 1e6)} MB and cannot be made smaller here. Save it as JPEG, under 8 MB.`);
};

class Form {
  constructor(model, el) {
    this.model = model;
    this.kept = new Kept(model.get("where"));
    this.mark = Math.random().toString(36).slice(2, 8);
    this.offset = 0; // the kernel's clock minus the browser's, ms
    this.known = false; // whether the kernel's clock was heard
    this.base = Date.now() - performance.now(); // grows while the computer sleeps; less only where its clock was set back
    this.setBack = 0; // ms by which it was, since the last tap
    this.open = {}; // which folded parts are open
    this.parts = new Map();
    this.looks = {};
    this.sending = {}; // pour to the photograph on its way; too large for what the browser keeps
    this.root = h("section", { class: "tp-form", "aria-label": "Session form", "data-lm-suppress-shortcuts": "true" }); // keys are the form's own
    this.said = h("p", { class: "tp-hidden", role: "status" });
    this.body = h("div");
    this.root.append(this.said, this.body);
    el.replaceChildren(this.root);
    this.onstate = () => this.settle();
    this.onmessage = (message) => this.hear(message);
    this.onshow = () => { if (!document.hidden) { this.askClock(); this.send({ deed: "refresh" }); } };
    model.on("change:state", this.onstate);
    model.on("msg:custom", this.onmessage);
    document.addEventListener("visibilitychange", this.onshow);
    this.ticks = [
      setInterval(() => this.tick(), 250),
      setInterval(() => this.askClock(), 20000),
      setInterval(() => this.send({ deed: "refresh" }), 60000),
      setInterval(() => this.again(), 1000),
    ];
    this.send({ deed: "refresh" });
    for (const one of this.kept.held.outbox) { one.since = Date.now(); if (!one.failed) this.send(one.message); }
    this.askClock();
    this.settle();
    this.restoreHead();
  }

  close() {
    this.ticks.forEach(clearInterval);
    this.model.off("change:state", this.onstate);
    this.model.off("msg:custom", this.onmessage);
    document.removeEventListener("visibilitychange", this.onshow);
  }

  get state() { return this.model.get("state"); }
  now() {
    const base = Date.now() - performance.now();
    if (base < this.base - 2000) { this.setBack += this.base - base; this.offset += this.base - base; this.askClock(); }
    this.base = base;
    return Date.now() + this.offset;
  }
  send(message) { try { this.model.send(message); return true; } catch { return false; } }
  askClock() { this.send({ deed: "clock", sent: Date.now() }); }

  hear(message) {
    if (message.clock !== undefined) {
      const trip = Date.now() - message.clock;
      if (trip < 0 || trip >= 3000) return;
      this.offset = message.now + trip / 2 - Date.now();
      if (!this.known) for (const { message: tap } of this.kept.held.outbox) if (tap.offset === null) Object.assign(tap, { offset: this.offset, at: tap.told + this.offset });
      this.known = true;
    } else if (message.look !== undefined) {
      this.looks[message.look] = message;
      const line = this.root.querySelector(`[data-look="${CSS.escape(message.look)}"]`);
      if (line) { line.textContent = message.words; line.classList.toggle("tp-short", !message.fine); }
    }
  }

  // Taps: into the outbox, to the kernel, and out of the box when the answer says that it is on the disk.

  tap(deed, fields = {}, keys = []) {
    const about = JSON.stringify([deed, fields.pour, fields.reading, fields.age, fields.specimen, fields.entries]);
    const twice = this.kept.held.outbox.find((one) => one.about === about);
    if (twice && !twice.failed) return;
    if (twice && deed === "catalyst_in") return this.retry(twice); // the clock began at the first tap
    if (twice) this.drop(twice);
    const id = `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}`;
    const at = this.now();
    const message = { id, deed, at, told: Date.now(), offset: this.known ? this.offset : null, set_back: this.setBack, ...fields };
    this.setBack = 0;
    this.kept.held.outbox.push({ about, message, keys, since: Date.now(), failed: "" });
    this.kept.save();
    this.send(message);
    this.draw();
  }

  retry(one, more = {}) {
    Object.assign(one.message, more);
    Object.assign(one, { failed: "", refused: false, since: Date.now(), waited: false });
    this.kept.save();
    this.send(one.message);
    this.draw();
  }

  drop(one) {
    this.kept.held.outbox = this.kept.held.outbox.filter((other) => other !== one);
    this.kept.save();
    this.draw();
  }

  again() {
    let changed = false;
    for (const one of this.kept.held.outbox) {
      if (one.failed) continue;
      const waited = Date.now() - one.since > PATIENCE;
      if (waited && !one.waited) { one.waited = true; one.resent = Date.now(); changed = true; }
      if (waited && Date.now() - one.resent > 10000) { one.resent = Date.now(); this.send(one.message); }
    }
    for (const one of Object.values(this.sending)) {
      if (one.failed || Date.now() - one.since < 5 * PATIENCE) continue;
      one.failed = "The notebook does not answer. If the kernel was restarted, run the notebook's cells again, then choose the picture again.";
      changed = true;
    }
    if (changed) this.draw();
  }

  async photo(at, file) {
    const one = { id: `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}`, since: Date.now(), failed: "" };
    const taken = this.now();
    this.sending[at.pour] = one;
    this.draw();
    try {
      const bytes = await (await lighter(file)).arrayBuffer();
      one.since = Date.now();
      this.model.send({ id: one.id, deed: "photo", at: taken, ...at }, undefined, [bytes]);
    } catch (problem) {
      one.failed = problem.message;
      this.draw();
    }
  }

  settle() {
    const answers = this.state.answers || {};
    for (const one of [...this.kept.held.outbox]) {
      const answer = answers[one.message.id];
      if (!answer || (one.failed && !answer.ok)) continue;
      if (answer.ok) {
        one.keys.forEach((key) => delete this.kept.held.typed[key]);
        if (one.message.deed === "head") this.kept.held.head = one.message;
        this.kept.held.outbox = this.kept.held.outbox.filter((other) => other !== one);
        this.said.textContent = `${one.message.pour || ""} ${answer.words}. Saved.`.trim();
      } else {
        Object.assign(one, { failed: answer.words, refused: answer.refused, waited: false });
        this.said.textContent = `Not saved: ${answer.words}`;
      }
    }
    for (const [pour, one] of Object.entries(this.sending)) {
      const answer = answers[one.id];
      if (!answer || one.failed) continue;
      if (answer.ok) delete this.sending[pour]; else one.failed = answer.words;
      this.said.textContent = answer.ok ? `${pour} ${answer.words}. Saved.` : `Not saved: ${answer.words}`;
    }
    this.kept.save();
    this.draw();
  }

  // Room and lots saved here, and newer than what the log's last pour carries: a new kernel is told again.
  restoreHead() {
    const last = this.kept.held.head;
    if (last && last.at > this.state.head.at + 1000) this.tap("head", { values: last.values, by: last.by });
  }

  // Drawing: a part is drawn anew only where what it shows has changed, and the focus stays where it was.

  draw() {
    const { state } = this;
    const poured = state.cards.filter((card) => card.name).length;
    this.open.cautions ??= poured === 0;
    this.part("notices", [state.notices], () => h("div", { role: "status" }, (state.notices || []).map((text) => h("p", { class: "tp-strip tp-bad" }, text))));
    this.part("top", [state.study, state.session, poured, state.cautions, state.kept], () => this.top(poured));
    this.part("head", [state.head, this.pending("")], () => this.head());
    this.part("due", [state.due], () => this.due());
    for (const card of state.cards) this.part(`card ${card.pour}`, [card, this.pending(card.pour), this.open, this.sending[card.pour]], () => this.card(card));
    this.tick();
  }

  part(name, shows, build) {
    const mark = JSON.stringify(shows);
    const held = this.parts.get(name);
    if (held && held.mark === mark) return;
    const node = build();
    const focus = held && held.node.contains(document.activeElement) ? document.activeElement : null;
    if (held) held.node.replaceWith(node); else this.place(node, name);
    this.parts.set(name, { mark, node });
    if (focus) this.refocus(node, focus);
  }

  place(node, name) {
    if (name.startsWith("card")) {
      this.cards ??= this.body.appendChild(h("div", { class: "tp-cards" }));
      this.cards.append(node);
    } else this.body.append(node);
  }

  refocus(node, old) {
    const same = old.dataset.key && node.querySelector(`[data-key="${CSS.escape(old.dataset.key)}"]`);
    const next = same && !same.disabled ? same : node.querySelector("button.tp-big:not([disabled])") || node.querySelector("h3, h4");
    if (!next) return;
    next.focus({ preventScroll: true });
    if (same && old.selectionStart !== undefined && old.selectionStart !== null) same.setSelectionRange(old.selectionStart, old.selectionEnd);
  }

  tick() {
    for (const node of this.root.querySelectorAll("[data-since]")) {
      const text = span(this.now() - Number(node.dataset.since));
      if (node.textContent !== text) node.textContent = text;
    }
    for (const node of this.root.querySelectorAll("[data-due]")) {
      const left = Number(node.dataset.due) - this.now();
      const text = { due: "now", overdue: `overdue by ${roughly(left)}` }[node.dataset.status] || `in ${roughly(left)}`;
      if (node.textContent !== text) node.textContent = text;
    }
  }

  pending(pour) {
    return this.kept.held.outbox.filter((one) => (one.message.pour || "") === pour)
      .map((one) => ({ id: one.message.id, failed: one.failed, refused: one.refused, waited: one.waited }));
  }

  busy(deed, fields) {
    const about = JSON.stringify([deed, fields.pour, fields.reading, fields.age, fields.specimen, fields.entries]);
    return this.kept.held.outbox.some((one) => one.about === about && !one.failed);
  }

  // Small pieces.

  button(label, deed, fields, { kind = "", keys = [], more = () => ({}), key = "" } = {}) {
    const busy = this.busy(deed, fields);
    return h("button", {
      type: "button", class: `tp-button ${kind}`, "aria-disabled": busy ? "true" : null, "data-key": key || `${deed} ${fields.pour} ${fields.reading || ""} ${fields.age ?? ""} ${label}`,
      onclick: () => this.tap(deed, { ...fields, ...more() }, keys),
    }, busy ? `${label}: saving …` : label);
  }

  // A field with its label; `wrong` is the id of what is wrong with it, where that stands elsewhere.
  input(key, label, { value = "", hint = "", wide = false, onlook = null, wrong = "" } = {}) {
    const id = `tp-${this.mark}-${key.replace(/\W+/g, "-")}`;
    const field = h("input", {
      id, type: "text", autocomplete: "off", spellcheck: "false", "data-key": key,
      "aria-describedby": wrong || (hint && `${id}-hint`) || null, "aria-invalid": wrong ? "true" : null,
      oninput: (event) => { this.kept.held.typed[key] = event.target.value; this.kept.save(); if (onlook) onlook(); },
    });
    field.value = this.typed(key, value);
    return h("div", { class: wide ? "tp-field tp-wide" : "tp-field" }, h("label", { for: id }, label), field,
      hint && h("span", { id: `${id}-hint`, class: "tp-hint" }, hint));
  }

  typed(key, value = "") { return this.kept.held.typed[key] ?? value; }

  fold(key, label, ...kids) {
    return h("details", { open: Boolean(this.open[key]), ontoggle: (event) => { this.open[key] = event.target.open; } },
      h("summary", { "data-key": `fold ${key}` }, label), h("div", { class: "tp-folded" }, kids));
  }

  waiting(pour) {
    return this.kept.held.outbox.filter((one) => (one.message.pour || "") === pour).map((one) => {
      const what = one.label || DEEDS[one.message.deed] || "Reading";
      if (!one.failed && !one.waited) return h("p", { class: "tp-strip" }, `${what}: saving …`);
      if (!one.failed) return h("p", { class: "tp-strip tp-bad" }, `${what} is not saved yet: the notebook does not answer. It is kept in this browser and sent again. If the kernel was restarted, run the notebook's cells again.`);
      return h("div", { class: "tp-strip tp-bad", role: "alert" }, h("p", {}, h("b", {}, `${what}: not saved. `), one.failed), h("div", { class: "tp-row" },
        one.refused
          ? h("button", { type: "button", class: "tp-button tp-warn", "data-key": `anyway ${one.message.id}`, onclick: () => this.retry(one, { anyway: true }) }, "It was poured anyway: log it")
          : h("button", { type: "button", class: "tp-button", "data-key": `retry ${one.message.id}`, onclick: () => this.retry(one) }, "Try again"),
        h("button", { type: "button", class: "tp-button tp-plain", "data-key": `drop ${one.message.id}`, onclick: () => this.drop(one) }, one.refused ? "It was not made" : "Leave it")));
    });
  }

  // The parts of the form.

  top(poured) {
    const { state } = this;
    const others = state.kept.filter((name) => name !== state.session).slice(0, 6);
    return h("header", { class: "tp-top" },
      h("div", {}, h("h2", {}, state.study), h("p", {}, `Session ${state.session}: ${poured} of ${plural(state.cards.length, "pour")} poured.`)),
      h("p", { class: "tp-first" }, "Goggles and gloves on before the catalyst is opened."),
      this.fold("cautions", "Read before the first pour: cautions", h("ul", {}, state.cautions.map(([title, text]) => h("li", {}, h("b", {}, `${title}. `), text)))),
      others.length > 0 && this.fold("others", "Open another session", h("div", { class: "tp-row" }, others.map((name) => h("button", {
        type: "button", class: "tp-button", "data-key": `open ${name}`, onclick: () => this.send({ deed: "open", session: name }) }, `Session ${name}`)))));
  }

  head() {
    const { head } = this.state;
    const key = (name) => `head ${name}`;
    const wrong = (name) => `tp-${this.mark}-wrong-${name}`;
    const values = () => Object.fromEntries(head.fields.map((f) => [f.name, this.typed(key(f.name), f.value)]));
    const keys = [...head.fields.map((f) => key(f.name)), key("by")];
    return h("section", { class: "tp-head", "aria-labelledby": `tp-${this.mark}-head` },
      h("h3", { id: `tp-${this.mark}-head`, tabindex: "-1" }, "Today"),
      h("div", { class: "tp-fields" },
        head.fields.map((f) => this.input(key(f.name), f.label, { value: f.value, wrong: f.problem && wrong(f.name) })),
        this.input(key("by"), "Your initials", { value: head.by })),
      head.fields.filter((f) => f.problem).map((f) => h("p", { id: wrong(f.name), class: "tp-problem" }, f.problem)),
      h("p", { class: "tp-hint" }, "A number may carry its unit: 68 °F, 1/2 in."),
      head.warnings.map((text) => h("p", { class: "tp-strip tp-warned" }, text)),
      this.waiting(""),
      h("div", { class: "tp-row" },
        h("button", { type: "button", class: "tp-button tp-big", "data-key": "head save", onclick: () => this.tap("head", { values: values(), by: this.typed(key("by"), head.by) }, keys) }, "Save today's room and lots"),
        h("p", { class: !head.saved ? "tp-hint" : head.but ? "tp-problem" : "tp-saved" }, head.saved ? `${head.but ? `Saved ${head.saved}, except ${head.but}` : `✓ Saved ${head.saved}`}. ${head.unknown.length ? `Not known yet: ${head.unknown.join(", ")}.` : ""}` : "Not saved yet. A pour can be logged without what is not known yet; save that later to add it.")));
  }

  due() {
    const { rows, missed } = this.state.due;
    const shown = rows.filter((row) => row.status !== "later").concat(rows.filter((row) => row.status === "later").slice(0, 3));
    return h("section", { class: "tp-due", "aria-label": "What is due" }, h("h3", {}, "Due"),
      shown.length ? h("ul", {}, shown.map((row) => h("li", { class: `tp-${row.status}` }, h("b", {}, row.pour), ` ${row.words}: `, this.away(row), ` (${row.clock})`)))
        : h("p", {}, this.state.due.nothing),
      rows.length > shown.length && h("p", {}, `${plural(rows.length - shown.length, "more reading")} later.`),
      missed > 0 && h("p", {}, `${plural(missed, "planned reading")} missed: the age has passed.`));
  }

  card(card) {
    const { pour, name } = card;
    const title = `tp-${this.mark}-${pour.replace(/\W+/g, "-")}`;
    return h("article", { class: name ? "tp-card tp-poured" : "tp-card", "aria-labelledby": title, "data-pour": pour },
      h("div", { class: "tp-name" }, h("h3", { id: title, tabindex: "-1" }, name || pour),
        name ? h("div", { class: "tp-timer" }, h("span", { "data-since": card.since, role: "timer" }), h("small", {}, `catalyst in ${card.clock}`)) : h("span", { class: "tp-stage" }, "not poured")),
      card.settings.length > 0 && h("ul", { class: "tp-set" }, card.settings.map((text) => h("li", {}, text))),
      name ? this.running(card) : this.weighing(card));
  }

  weighing(card) {
    const refused = card.refusals.length > 0;
    return [
      card.refusals.map((text) => h("p", { class: "tp-strip tp-bad" }, h("b", {}, "Do not weigh this out. "), text)),
      card.warnings.map((text) => h("p", { class: "tp-strip tp-warned" }, text)),
      card.weigh.length > 0 && h("ol", { class: "tp-weigh" }, card.weigh.map((line) => h("li", {}, h("span", {}, line.what), h("b", {}, line.amount), line.more && h("small", {}, line.more)))),
      this.waiting(card.pour),
      this.button("Catalyst in", "catalyst_in", { pour: card.pour }, { kind: refused ? "tp-big" : "tp-big tp-go" }),
    ];
  }

  running(card) {
    const at = { pour: card.pour, name: card.name };
    const open = card.later.filter((line) => !["later", "missed"].includes(line.status));
    const ahead = card.later.filter((line) => line.status === "later").sort((a, b) => a.age - b.age);
    const missed = card.later.filter((line) => line.status === "missed");
    return [
      this.waiting(card.pour),
      card.asks.map((ask) => h("div", { class: "tp-strip tp-warned", role: "group", "aria-label": ask.words }, h("p", {}, ask.words), h("div", { class: "tp-row" },
        this.button("The time is right", "time_right", { ...at, entries: ask.entries }),
        this.button("It is wrong: take it back", ask.entries.length ? "take_back" : "unpour", ask.entries.length ? { ...at, entries: ask.entries } : at, { kind: "tp-plain" })))),
      card.events.map((event) => this.event(event, at)),
      card.once.map((line) => this.once(line, at)),
      open.map((line) => this.later(line, at)),
      ahead.length > 0 && h("p", { class: "tp-ahead" }, `Next: ${ahead[0].words} `, this.away(ahead[0]), ` (${ahead[0].clock})`, ahead.length > 1 && `; ${plural(ahead.length - 1, "reading")} after it.`),
      missed.length > 0 && h("p", { class: "tp-hint" }, `Missed: ${missed.map((line) => line.words).join(", ")}.`),
      this.photos(card, at),
      this.fold(`more ${card.pour}`, "Type a reading, correct one, take the pour back", this.more(card, at)),
    ];
  }

  photos(card, at) {
    const id = `tp-${this.mark}-photo-${card.pour.replace(/\W+/g, "-")}`;
    const one = this.sending[card.pour];
    return h("div", { class: "tp-event", role: "group", "aria-label": `Photographs of ${card.name}` },
      card.photos.length > 0 && h("div", { class: "tp-photos" }, card.photos.map((photo) => h("figure", {},
        photo.src && h("img", { src: photo.src, alt: photo.says }), h("figcaption", {}, photo.words),
        this.button("Take back", "photo_back", { ...at, entries: [photo.entry] }, { kind: "tp-plain", key: `back ${at.pour} photo ${photo.entry}` })))),
      h("div", { class: "tp-field" }, h("label", { for: id }, "Add a photograph"),
        h("input", { id, type: "file", accept: "image/*", "data-key": `photo ${card.pour}`, disabled: Boolean(one && !one.failed),
          onchange: (event) => { if (event.target.files.length) this.photo(at, event.target.files[0]); } })),
      one && !one.failed && h("p", { class: "tp-strip" }, "Photograph: saving …"),
      one && one.failed && h("p", { class: "tp-strip tp-bad", role: "alert" }, h("b", {}, "Photograph: not saved. "), one.failed));
  }

  back(entries, at, label) {
    return this.button("Take back", "take_back", { ...at, entries }, { kind: "tp-plain", key: `back ${at.pour} ${label}` });
  }

  event(event, at) {
    const fields = { ...at, reading: event.reading };
    const done = ["exact", "between", "already"].includes(event.status);
    const companion = event.with;
    const key = companion && `with ${at.pour} ${companion.reading}`;
    const ask = companion && !companion.said;
    if (event.late && !done) return h("p", { class: "tp-event tp-hint" }, `${capital(event.words)}${event.said ? ` (${event.said.toLowerCase()})` : ""}: too late for a tap. Type what is known below.`);
    return h("div", { class: done ? "tp-event tp-done" : "tp-event", role: "group", "aria-label": event.words },
      event.said && h("div", { class: "tp-row" }, h("p", { class: "tp-saved" }, `✓ ${event.said}`), this.back([event.entry], at, event.reading)),
      event.status === "already" && event.check && h("div", { class: "tp-row" },
        h("p", { class: "tp-hint" }, event.doubt), this.button(event.sure, "watched", fields)),
      companion && companion.said && h("div", { class: "tp-row" }, h("p", { class: "tp-saved" }, `✓ ${capital(companion.words)}: ${companion.said}`), this.back([companion.entry], at, companion.reading)),
      ask && this.input(key, companion.label, { hint: done ? "" : "may be typed later" }),
      !done && event.look && h("p", { class: "tp-hint" }, `${event.look}.`),
      h("div", { class: "tp-row" },
        !done && event.check && this.button(event.check, "check", fields, { kind: "tp-big tp-second" }),
        !done && this.button(event.done, "happened", fields, { kind: "tp-big", keys: key ? [key] : [], more: () => (ask ? { with: this.typed(key) } : {}) }),
        done && ask && this.button(`Log ${companion.words}`, "write", { ...at, reading: companion.reading }, { kind: "tp-big", keys: [key], more: () => ({ text: this.typed(key) }) })));
  }

  once(line, at) {
    const fields = { ...at, reading: line.reading };
    if (line.said) return h("div", { class: "tp-event tp-done" }, h("div", { class: "tp-row" }, h("p", { class: "tp-saved" }, `✓ ${capital(line.words)}: ${line.said}`), this.back([line.entry], at, line.reading)));
    if (line.grades.length) return this.grades(line, fields, line.label);
    const key = `write ${at.pour} ${line.reading}`;
    return h("div", { class: "tp-event", role: "group", "aria-label": line.label }, this.input(key, line.label, { hint: line.how }),
      this.button("Log it", "write", fields, { kind: "tp-big", keys: [key], more: () => ({ text: this.typed(key) }) }));
  }

  what(title, line) {
    return h("p", { class: "tp-what" }, capital(title), line.status && this.away(line, `tp-badge tp-${line.status}`));
  }

  // How far off a reading is, counted on by the clock; without one where only the day of its pour is known.
  away({ at, status }, kind = null) {
    return h("span", { class: kind, "data-due": at, "data-status": status }, at === null && ({ due: "today", overdue: "overdue" }[status] || "by day"));
  }

  grades(line, fields, title) {
    return h("div", { class: "tp-event", role: "group", "aria-label": title }, this.what(title, line),
      h("p", { class: "tp-hint" }, line.how),
      h("div", { class: "tp-row tp-grades" }, line.grades.map((word, grade) => h("button", {
        type: "button", class: "tp-button tp-big tp-second", "data-key": `grade ${fields.pour} ${fields.reading} ${fields.age} ${grade}`,
        onclick: () => this.tap("write", { ...fields, text: String(grade) }) }, `${grade} ${word}`))));
  }

  later(line, at) {
    const fields = { ...at, reading: line.reading, age: line.age };
    if (line.status === "done") {
      const again = line.many && this.fold(`add ${at.pour} ${line.reading} ${line.age}`, "Add readings of another specimen", this.several(line, fields));
      return h("div", { class: "tp-event tp-done" }, h("div", { class: "tp-row" }, h("p", { class: "tp-saved" }, `✓ ${capital(line.words)}: ${line.said}`), this.back(line.entries, at, line.words)), again);
    }
    if (line.grades.length) return this.grades(line, fields, line.words);
    if (line.many) return h("div", { class: "tp-event", role: "group", "aria-label": line.words }, this.what(line.words, line), this.several(line, fields));
    const key = `write ${at.pour} ${line.reading} ${line.age}`;
    return h("div", { class: "tp-event", role: "group", "aria-label": line.words }, this.input(key, line.words, { hint: line.how }),
      this.button("Log it", "write", fields, { kind: "tp-big", keys: [key], more: () => ({ text: this.typed(key) }) }));
  }

  several(line, fields) {
    const base = `several ${fields.pour} ${fields.reading} ${fields.age}`;
    const keys = { text: `${base} text`, thickness: `${base} thickness`, edge: `${base} edge`, specimen: `${base} specimen` };
    const usual = { thickness: line.thickness ?? "" };
    const values = () => Object.fromEntries(Object.entries(keys).map(([name, key]) => [name, String(this.typed(key, usual[name] ?? ""))]));
    const look = () => { clearTimeout(this.looking); this.looking = setTimeout(() => this.send({ deed: "look", key: base, ...fields, ...values() }), 200); };
    const seen = this.looks[base];
    const asked = line.method ? `${line.method.readings} readings, ${line.method.apart} mm apart and ${line.method.edge} mm from any edge. After ${line.method.standard}; figures ${line.method.confidence}.` : line.how;
    return [
      this.input(keys.text, `${capital(line.label)}: all readings of one specimen`, { hint: line.method ? "blanks between, such as 76 79 78" : "several with blanks between; < and a number if it was too little to read", wide: true, onlook: look }),
      h("p", { class: seen && !seen.fine ? "tp-look tp-short" : "tp-look", "data-look": base, "aria-live": "polite" }, seen && this.typed(keys.text) ? seen.words : ""),
      h("p", { class: "tp-hint" }, asked),
      line.method && h("div", { class: "tp-fields" },
        this.input(keys.thickness, "Specimen thickness (mm)", { value: usual.thickness, onlook: look }),
        this.input(keys.edge, "Nearest point to an edge (mm)", { onlook: look }),
        this.input(keys.specimen, "Specimen, if several", { hint: "one word, such as left" })),
      this.button("Log these readings", "values", fields, { kind: "tp-big", keys: Object.values(keys), more: values }),
    ];
  }

  more(card, at) {
    const lines = [...card.events, ...card.events.map((event) => event.with).filter(Boolean), ...card.once];
    const sure = `sure ${card.pour}`;
    return [
      h("p", { class: "tp-hint" }, "As you would write it: 22 min, 20 to 25 min, not yet at 2 h. A second entry corrects the first; both are kept."),
      lines.map((line) => {
        const key = `typed ${at.pour} ${line.reading}`;
        const label = `As written: ${line.label || `${line.words} (${line.unit})`}`;
        return h("div", { class: "tp-pair" }, this.input(key, label),
          this.button("Log", "write", { ...at, reading: line.reading }, { keys: [key], key: `log ${key}`, more: () => ({ text: this.typed(key) }) }));
      }),
      this.open[sure]
        ? h("div", { class: "tp-strip tp-bad" }, h("p", {}, `Take back catalyst in of ${card.name}${card.readings ? ` and its ${plural(card.readings, "reading")}` : ""}? It stays in the history, and the pour can be logged anew.`),
          h("div", { class: "tp-row" }, this.button("Yes, take it back", "unpour", at, { kind: "tp-warn" }),
            h("button", { type: "button", class: "tp-button tp-plain", "data-key": `${sure} no`, onclick: () => { this.open[sure] = false; this.draw(); } }, "Keep it")))
        : h("button", { type: "button", class: "tp-button tp-plain", "data-key": sure, onclick: () => { this.open[sure] = true; this.draw(); } }, "Take back catalyst in …"),
    ];
  }
}

export default {
  render({ model, el }) {
    let form = new Form(model, el);
    const anew = () => { form.close(); form = new Form(model, el); }; // another session was opened
    model.on("change:where", anew);
    return () => { model.off("change:where", anew); form.close(); };
  },
};
