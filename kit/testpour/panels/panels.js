// Draws the parts of a panel and sends back what is typed and tapped. One piece for every panel; what a panel says is
// worked out in Python. What was typed and is not yet with the kernel is kept in the browser and never drawn over.

const make = (tag, props = {}, ...kids) => {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) {
    if (value === false || value === null || value === undefined || value === "") continue;
    if (name.startsWith("on")) node.addEventListener(name.slice(2), value);
    else node.setAttribute(name, value === true ? "" : value);
  }
  node.append(...kids.flat(9).filter((kid) => kid !== null && kid !== undefined && kid !== false && kid !== ""));
  return node;
};
const PAUSE = 450; // ms after the last key before what was typed is sent
const BLUR = 150; // ms after leaving a field: a button that was pressed to leave it must not move under the finger
const TWICE = 600; // ms after the answer to a tap in which the same tap is the second half of a double one
const PATIENCE = 8000; // ms without an answer after which the panel says that the notebook does not answer

class Panel {
  constructor(model, el) {
    Object.assign(this, { model, timers: {}, handed: {}, tapped: {}, closed: {}, open: {}, looks: {}, parts: new Map(), sent: 0 });
    this.store = `testpour panel ${model.get("where")}`;
    try { this.typed = JSON.parse(localStorage.getItem(this.store)) || {}; } catch { this.typed = {}; }
    this.mark = `tpp-${Math.random().toString(36).slice(2, 8)}`;
    this.status = make("p", { class: "tpp-unseen", role: "status" });
    this.body = make("div", { class: "tpp-body" });
    this.strip = make("div", { class: "tpp-strip", "aria-live": "assertive" });
    this.child = make("div", { class: "tpp-child" });
    this.root = make("section", { class: "tpp", tabindex: "-1", "data-lm-suppress-shortcuts": "true" }, this.status, this.body, this.strip, this.child);
    // The notebook takes arrows and letters for its own cells: keys pressed in a panel stay in it. Escape leaves it for the cell.
    this.root.addEventListener("keydown", (event) => {
      if (event.key === "Escape") this.root.closest(".jp-Cell")?.focus();
      if (!event.ctrlKey && !event.metaKey) event.stopPropagation();
    });
    el.replaceChildren(this.root);
    this.onscreen = () => this.draw();
    this.onheld = () => { this.parts.clear(); this.body.replaceChildren(); this.draw(); };
    this.onform = () => this.embed();
    this.onmessage = (message) => this.hear(message);
    this.onshow = () => { if (!document.hidden) this.refresh(); };
    model.on("change:screen", this.onscreen);
    model.on("change:held", this.onheld);
    model.on("change:form", this.onform);
    model.on("msg:custom", this.onmessage);
    document.addEventListener("visibilitychange", this.onshow);
    this.ticks = [setInterval(() => this.look(), 350), setInterval(() => this.refresh(), 5000)];
    Object.keys(this.typed).forEach((name) => this.hand(name));
    this.refresh();
    this.draw();
    this.embed();
  }

  // Asks whether anything changed; one question at a time, so that a slow kernel is not asked the more.
  refresh() {
    if (this.asks && performance.now() - this.asks < 15000) return;
    this.asks = performance.now();
    this.send({ deed: "refresh" });
  }

  close() {
    this.ticks.forEach(clearInterval);
    Object.values(this.timers).forEach(clearTimeout);
    this.model.off("change:screen", this.onscreen);
    this.model.off("change:held", this.onheld);
    this.model.off("change:form", this.onform);
    this.model.off("msg:custom", this.onmessage);
    document.removeEventListener("visibilitychange", this.onshow);
  }

  send(message) { try { this.model.send(message); return true; } catch { return false; } }

  deed(message) {
    const id = `${Date.now()}-${Math.random()}`;
    this.waits = { id, since: performance.now() };
    this.root.dataset.busy = "yes";
    this.send({ ...message, id });
    return id;
  }

  hear(message) {
    const handed = message.heard && this.handed[message.heard];
    if (handed) {
      delete this.handed[message.heard];
      if (this.typed[handed[0]] === handed[1]) { delete this.typed[handed[0]]; this.save(); }
    }
    const tapped = message.heard && this.tapped[message.heard];
    if (tapped) {
      delete this.tapped[message.heard];
      this.closed[tapped] = performance.now() + TWICE;
    }
    if (message.heard !== undefined && this.waits && this.waits.id === message.heard) {
      this.root.dataset.took = Math.round(performance.now() - this.waits.since);
      this.root.dataset.busy = "no";
      this.waits = null;
      this.complain("");
    } else if (message.fresh !== undefined) {
      this.asks = 0;
    } else if (message.paper !== undefined) {
      this.looks[message.paper] = message.html;
      this.draw();
      if (this.printing === message.paper) this.print(message.paper);
    }
  }

  // While work is under way the kernel is asked how far it is; a tap without an answer is spoken of.
  look() {
    if (this.model.get("screen").busy) this.refresh();
    if (this.waits && performance.now() - this.waits.since > PATIENCE) this.complain("The notebook does not answer. What you typed is kept in this browser. If the kernel was restarted, run the notebook's cells again.");
  }

  complain(words) { if (this.strip.textContent !== words) this.strip.replaceChildren(words && make("p", { class: "tpp-caution tpp-refuse" }, words)); }

  type(name, text, wait) {
    this.typed[name] = text;
    this.save();
    clearTimeout(this.timers[name]);
    this.timers[name] = setTimeout(() => this.hand(name), wait);
  }

  // Hands what was typed to the kernel; it is let go here once the kernel answers that it has it.
  hand(name) {
    clearTimeout(this.timers[name]);
    const text = this.typed[name];
    if (text === undefined) return; // the kernel has it already
    this.handed[this.deed({ deed: "type", name, text })] = [name, text];
  }

  // A double tap is one tap: a button is closed until its tap is answered and the panel drawn anew, and for a moment after.
  tap(name) {
    if (performance.now() < this.closed[name]) return;
    this.closed[name] = Infinity;
    Object.keys(this.typed).forEach((field) => this.hand(field));
    this.tapped[this.deed({ deed: "tap", name })] = name;
  }

  save() { try { localStorage.setItem(this.store, JSON.stringify(this.typed)); } catch { /* memory serves */ } }

  async embed() {
    const form = this.model.get("form");
    if (this.shownForm === form) return;
    this.shownForm = form;
    this.child.replaceChildren();
    if (!form) return;
    const child = typeof form === "string" ? await this.model.widget_manager.get_model(form.slice("IPY_MODEL_".length)) : form;
    const view = await this.model.widget_manager.create_view(child);
    if (this.shownForm === form) this.child.replaceChildren(view.el);
  }

  // Drawing: a part is drawn anew only where it changed; the focus and what is being typed stay.

  draw() {
    const screen = this.model.get("screen");
    this.root.setAttribute("aria-label", screen.title);
    const held = this.body.contains(document.activeElement);
    const parts = [{ kind: "title", title: screen.title, lead: screen.lead }, ...screen.parts];
    if (screen.said) parts.push({ kind: "said", text: screen.said });
    if (screen.wrong) parts.push({ kind: "caution", level: "refuse", text: screen.wrong, alert: true });
    this.children(this.body, parts, "");
    const said = screen.wrong || screen.said;
    if (this.status.textContent !== said) this.status.textContent = said;
    // What was tapped is gone: the keys go on from this panel, not from the top of the page.
    if (held && !this.root.contains(document.activeElement)) this.root.focus({ preventScroll: true });
  }

  children(place, parts, path) {
    const nodes = parts.map((part, k) => this.part(part, `${path}/${k}:${part.kind}:${part.name || part.title || part.words || ""}`));
    if (nodes.length === place.childNodes.length && nodes.every((node, k) => node === place.childNodes[k])) return;
    const focus = place.contains(document.activeElement) ? document.activeElement : null;
    place.replaceChildren(...nodes);
    if (focus) this.refocus(focus);
  }

  refocus(old) {
    if (document.activeElement === old) return;
    const key = old.dataset && old.dataset.key;
    const next = (old.isConnected && old) || (key && this.root.querySelector(`[data-key="${CSS.escape(key)}"]`));
    if (!next) return;
    const [from, to] = [old.selectionStart, old.selectionEnd];
    next.focus({ preventScroll: true });
    if (typeof from === "number" && next.setSelectionRange && next.type === "text") next.setSelectionRange(from, to);
  }

  part(part, path) {
    const held = this.parts.get(path), holds = part.kind === "step" || part.kind === "row" || part.kind === "fold";
    const mark = JSON.stringify(holds ? [part.kind, part.title, part.words] : [part, this.looks[part.path]]);
    let node = held && held.mark === mark ? held.node : null;
    if (!node) {
      node = this[part.kind](part, path);
      this.parts.set(path, { mark, node });
    }
    if (holds) {
      this.children(node.querySelector(":scope > .tpp-parts") || node, part.parts, path);
      const says = node.querySelector(":scope > .tpp-says");
      if (says) this.children(says, part.says || [], `${path}!`);
    } else if (held && held.node !== node && held.node.isConnected) {
      const old = held.node.contains(document.activeElement) ? document.activeElement : null;
      held.node.replaceWith(node);
      if (old) this.refocus(old);
    }
    return node;
  }

  // The parts.

  title(part) { return make("header", {}, make("h2", {}, part.title), make("p", { class: "tpp-lead" }, part.lead)); }
  step(part) { return make("section", { class: "tpp-step", "aria-label": part.title }, make("h3", {}, part.title), make("div", { class: "tpp-parts" }), make("div", { class: "tpp-says", "aria-live": "polite" })); }
  row() { return make("div", { class: "tpp-row" }); }
  fold(part, path) { return make("details", { open: Boolean(this.open[path]), ontoggle: (event) => { this.open[path] = event.target.open; } }, make("summary", { "data-key": path }, part.words), make("div", { class: "tpp-parts" })); }
  text(part) { return make("p", { class: part.look ? `tpp-${part.look}` : "" }, part.text); }
  said(part) { return make("p", { class: "tpp-good" }, `✓ ${part.text}`); }
  caution(part) { return make("p", { class: `tpp-caution tpp-${part.level}`, role: part.alert ? "alert" : "" }, make("b", {}, part.level === "warn" ? "Mind: " : "No: "), part.text); }

  below(part, id) {
    return [
      part.read && make("span", { class: "tpp-read", id: `${id}-read` }, part.read),
      part.problem && make("span", { class: "tpp-problem", id: `${id}-problem`, role: "alert" }, part.problem),
      part.hint && make("span", { class: "tpp-hint", id: `${id}-hint` }, part.hint),
    ];
  }

  described(part, id) { return ["unit", "read", "problem", "hint"].filter((what) => part[what]).map((what) => `${id}-${what}`).join(" "); }

  entry(part) {
    const id = `${this.mark}-${part.name.replace(/\W+/g, "-")}`;
    const field = make("input", { id, type: "text", autocomplete: "off", spellcheck: "false", "data-key": part.name, "aria-describedby": this.described(part, id),
      "aria-invalid": part.problem ? "true" : "", class: part.unit ? "tpp-number" : "",
      oninput: (event) => this.type(part.name, event.target.value, PAUSE), onchange: (event) => { if (this.typed[part.name] !== undefined) this.type(part.name, event.target.value, BLUR); } });
    field.value = this.typed[part.name] ?? part.value;
    return make("div", { class: part.wide ? "tpp-field tpp-wide" : "tpp-field" }, make("label", { for: id }, part.label),
      part.unit ? make("div", { class: "tpp-with-unit" }, field, make("span", { id: `${id}-unit` }, part.unit)) : field, this.below(part, id));
  }

  choice(part) {
    const id = `${this.mark}-${part.name.replace(/\W+/g, "-")}`;
    return make("fieldset", { class: "tpp-choice", "aria-describedby": this.described(part, id) }, make("legend", {}, part.label),
      make("div", { class: "tpp-options" }, part.options.map(([value, words], k) => {
        const one = make("input", { type: "radio", name: id, id: `${id}-${k}`, "data-key": `${part.name}=${value}`, onchange: () => this.type(part.name, value, 0) });
        one.checked = (this.typed[part.name] ?? part.value) === value;
        return make("span", {}, one, make("label", { for: `${id}-${k}` }, words));
      })), this.below(part, id));
  }

  checks(part) {
    const id = `${this.mark}-${part.items[0][0]}`;
    return make("fieldset", { class: "tpp-choice" }, make("legend", {}, part.label), make("div", { class: "tpp-options" }, part.items.map(([name, words, on]) => {
      const one = make("input", { type: "checkbox", id: `${id}-${name}`, "data-key": name, onchange: (event) => this.type(name, event.target.checked ? "yes" : "no", 0) });
      one.checked = name in this.typed ? this.typed[name] === "yes" : on;
      return make("span", {}, one, make("label", { for: `${id}-${name}` }, words));
    })));
  }

  pick(part) {
    const id = `${this.mark}-${part.name.replace(/\W+/g, "-")}`;
    const list = make("select", { id, "data-key": part.name, "aria-describedby": this.described(part, id), onchange: (event) => this.type(part.name, event.target.value, 0) },
      part.options.map(([value, words]) => new Option(words, value))); // an empty value counts too
    list.value = this.typed[part.name] ?? part.value;
    return make("div", { class: "tpp-field tpp-wide" }, make("label", { for: id }, part.label), list, this.below(part, id));
  }

  button(part) {
    const id = `${this.mark}-why-${part.name.replace(/\W+/g, "-")}`;
    return make("div", { class: "tpp-tap" }, make("button", { type: "button", class: part.main ? "tpp-main" : "", "data-key": `tap ${part.name}`, "aria-disabled": part.off ? "true" : "",
      "aria-describedby": part.off ? id : "", onclick: () => { if (!part.off) this.tap(part.name); } }, part.words), part.off && make("span", { class: "tpp-hint", id }, part.off));
  }

  table(part) {
    const numbers = part.head.map((_, k) => part.rows.every((line) => /^[\d.,\s−-]*$/.test(line[k])));
    return make("div", { class: "tpp-wide-table", tabindex: "0", role: "group", "aria-label": part.caption }, make("table", {}, make("caption", {}, part.caption),
      make("thead", {}, make("tr", {}, part.head.map((words) => make("th", { scope: "col" }, words)))),
      make("tbody", {}, part.rows.map((line) => make("tr", {}, line.map((value, k) => k ? make("td", { class: numbers[k] ? "tpp-figure" : "" }, value) : make("th", { scope: "row" }, value)))))));
  }

  bars(part) {
    const percent = (value) => `${100 * Math.min(Math.max(value, 0), 1)}%`;
    const span = (className, low, high) => { const node = make("span", { class: className }); node.style.left = percent(low); node.style.width = percent(Math.max(high - low, 0)); return node; };
    return make("figure", { class: "tpp-bars" }, make("figcaption", {}, part.caption), make("ul", {}, part.rows.map((line) => {
      const bar = make("div", { class: "tpp-bar", "aria-hidden": "true" });
      if (line.from !== undefined) bar.append(span("tpp-zero", line.from, line.from));
      if (line.share !== undefined) bar.append(span("tpp-length", Math.min(line.from ?? 0, line.share), Math.max(line.from ?? 0, line.share)));
      if (line.low !== undefined) bar.append(span("tpp-interval", line.low, line.high));
      return make("li", {}, make("div", { class: "tpp-line" }, make("span", {}, line.words), make("b", {}, line.says)), bar);
    })), part.ends.some(Boolean) && make("div", { class: "tpp-ends", "aria-hidden": "true" }, part.ends.map((words) => make("span", {}, words))));
  }

  tiles(part) { return make("dl", { class: "tpp-tiles", "aria-label": part.caption }, part.pairs.map(([what, much]) => make("div", {}, make("dt", {}, what), make("dd", {}, much)))); }
  steps(part) { return make("div", {}, make("p", { class: "tpp-strong" }, part.caption), make("ol", {}, part.lines.map((line) => make("li", {}, line)))); }
  stations(part) {
    return make("ol", { class: "tpp-stations", "aria-label": part.caption }, part.stops.map((stop, k) => make("li", { class: stop.next ? "tpp-next" : "", "data-stop": stop.name },
      make("span", {}, make("b", {}, `${k + 1}. ${stop.title}`), stop.next && make("em", {}, "Next")), make("span", { class: "tpp-hint" }, stop.notebook), stop.says && make("span", {}, stop.says))));
  }

  picture(part) { return make("figure", { class: "tpp-picture" }, make("img", { src: part.src, alt: part.alt }), make("figcaption", {}, part.alt)); }

  progress(part) {
    return make("div", { class: "tpp-progress" }, make("label", {}, part.words, make("progress", {})),
      make("button", { type: "button", "data-key": "stop", onclick: () => this.deed({ deed: "stop" }) }, "Stop"));
  }

  paper(part) {
    const html = this.looks[part.path];
    const look = () => { if (html === undefined) this.send({ deed: "paper", path: part.path }); else { delete this.looks[part.path]; this.draw(); } };
    const print = () => { this.printing = part.path; if (html === undefined) this.send({ deed: "paper", path: part.path }); else this.print(part.path); };
    const page = /\.html?$/.test(part.path);
    // The page may not run anything here: it is shown as it prints.
    return make("div", { class: "tpp-paper" }, make("p", { class: "tpp-good" }, `✓ ${part.words}`), make("p", {}, make("code", {}, part.path)),
      page && make("div", { class: "tpp-row" }, make("button", { type: "button", "data-key": `look ${part.path}`, "aria-expanded": html === undefined ? "false" : "true", onclick: look }, html === undefined ? "Look at it" : "Fold it away"),
        make("button", { type: "button", "data-key": `print ${part.path}`, onclick: print }, "Print it")),
      html !== undefined && make("iframe", { srcdoc: html, title: part.words, sandbox: "allow-same-origin allow-modals", "data-path": part.path }));
  }

  print(path) {
    this.printing = "";
    const frame = this.root.querySelector(`iframe[data-path="${CSS.escape(path)}"]`);
    if (!frame) return;
    const ready = () => { frame.contentWindow.focus(); frame.contentWindow.print(); };
    if (frame.contentDocument && frame.contentDocument.readyState === "complete" && frame.contentDocument.body.childElementCount) ready(); else frame.addEventListener("load", ready, { once: true });
  }

  // The sliders of the findings page, by the same text that serves the page.
  sliders() {
    const part = (tag, name, more = {}) => make(tag, { "data-part": name, ...more });
    const place = make("div", { class: "tpp-explorer", hidden: true, "data-mark": `${this.mark}-set` }, part("p", "starts", { class: "starts" }), part("p", "verdict", { class: "verdict", role: "status" }),
      part("p", "limits"), part("p", "beyond", { class: "guess" }), make("div", { class: "panes" }, part("div", "sliders"),
        make("div", {}, part("ul", "cautions", { class: "warned" }), part("ul", "readings", { class: "readings" }))),
      make("p", { class: "tpp-hint" }, "Thick line: nine castings in ten. Dot: the middle one. Shaded: the aim. For grades with an aim, the strong colour is the share of castings that meets it. The band under a slider is what was poured."));
    const held = this.model.get("held");
    if (held && held.factors) explorer(held, place);
    return place;
  }
}

export default {
  render({ model, el }) {
    const panel = new Panel(model, el);
    return () => panel.close();
  },
};
