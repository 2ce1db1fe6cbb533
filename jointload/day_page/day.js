// Keeps the page what the program knows: parts come as events, answers go back, a broken connection is said.
"use strict";
(() => {
  const SILENT_MS = 12000, AGAIN_MS = 2000;
  const SETTLE_MS = 400; // a form that has just appeared is not answered by a tap that was meant for what stood there
  const link = document.getElementById("link"), whole = document.getElementById("whole");
  const known = new Map();
  const born = new Map(); // when a form appeared, by its key
  const sent = new Set(); // keys of forms whose answer is on its way, or has only just been written
  const chosen = new Map(); // what was clicked in a form that is not complete, by the form's key
  let heard = Date.now(), lost = null, source = null;

  const clock = (time) => new Date(time).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit" });

  function show(parts) {
    for (const [id, text] of Object.entries(parts)) {
      const place = document.getElementById(id);
      if (place && known.get(id) !== text) {
        known.set(id, text);
        replace(place, text);
      }
    }
    document.body.dataset.told = "yes";
  }

  // New content is laid over the old, node by node, so that what a person is about to press, has focused, unfolded or
  // half filled in stays the same node.
  function replace(place, text) {
    const fresh = document.createElement("template");
    fresh.innerHTML = text;
    const had = place.contains(document.activeElement);
    lay(place, fresh.content);
    place.querySelectorAll("form[data-key]").forEach(press);
    if (had && document.activeElement === document.body) place.querySelector("button")?.focus({ preventScroll: true });
  }

  const OURS = ["open", "aria-pressed", "hidden", "data-ready"];
  const keyOf = (node) => node.dataset?.key || node.id || "";
  const same = (one, other) => one.nodeName === other.nodeName && keyOf(one) === keyOf(other);

  function lay(place, fresh) {
    const have = [...place.childNodes], want = [...fresh.childNodes];
    want.forEach((node, k) => {
      if (k >= have.length) place.append(node);
      else if (same(have[k], node)) update(have[k], node);
      else have[k].replaceWith(node);
    });
    have.slice(want.length).forEach((node) => node.remove());
  }

  function update(node, fresh) {
    if (node.nodeType === Node.TEXT_NODE) {
      if (node.data !== fresh.data) node.data = fresh.data;
      return;
    }
    for (const { name } of [...node.attributes]) if (!OURS.includes(name) && !fresh.hasAttribute(name)) node.removeAttribute(name);
    for (const { name, value } of fresh.attributes) if (!OURS.includes(name) && node.getAttribute(name) !== value) node.setAttribute(name, value);
    if (!node.classList.contains("told")) lay(node, fresh);
  }

  const wordsOf = (form) => chosen.get(form.dataset.key) || {};
  const groupsOf = (form) => [...form.querySelectorAll("fieldset")].filter((group) => !group.hidden);
  const typedIn = (group) => group.querySelector("input")?.value.trim();
  const pressedIn = (group) => group.querySelector("button[aria-pressed=true]");
  const openIn = (form) => groupsOf(form).find((group) => !typedIn(group) && !pressedIn(group));

  // Shows what is chosen, or proposed, and what belongs to the kind that is.
  function press(form) {
    const words = wordsOf(form), key = form.dataset.key;
    if (!born.has(key)) born.set(key, Date.now());
    const left = born.get(key) + SETTLE_MS - Date.now();
    if (sent.has(key)) delete form.dataset.ready;
    else if (left <= 0) form.dataset.ready = "yes";
    else setTimeout(() => { form.dataset.ready = "yes"; }, left);
    for (const button of form.querySelectorAll("button[name]")) {
      const word = words[button.name];
      button.setAttribute("aria-pressed", String(word === undefined ? "proposed" in button.dataset : word === button.value));
    }
    const kind = form.querySelector("input[name=kind]")?.value ?? form.querySelector("button[name=kind][aria-pressed=true]")?.value;
    form.querySelectorAll("[data-only]").forEach((one) => { one.hidden = one.dataset.only !== kind; });
  }

  const pressAll = () => document.querySelectorAll("form[data-key]").forEach(press);

  // A click in the last group sends; so does one before it when the last was clicked already.
  function choose(button) {
    if (!button.form.dataset.ready) return;
    const form = button.form, typed = button.closest("fieldset").querySelector("input");
    if (typed) typed.value = "";
    chosen.set(form.dataset.key, { ...wordsOf(form), [button.name]: button.value });
    press(form);
    const last = groupsOf(form).at(-1), open = openIn(form);
    const lastIsMeant = last.contains(button) || (button.name !== "kind" && (typedIn(last) || last.dataset.name in wordsOf(form)));
    if (!open && lastIsMeant) send(form);
    else (open || last).querySelector("button, input").focus();
  }

  async function send(form) {
    const words = Object.fromEntries(new FormData(form));
    for (const group of groupsOf(form)) words[group.dataset.name] = typedIn(group) || pressedIn(group).value;
    delete words.other;
    const key = form.dataset.key;
    chosen.delete(key);
    sent.add(key);
    delete form.dataset.ready;
    const say = (text) => {
      for (const one of document.querySelectorAll("form[data-key]")) if (one.dataset.key === key) one.querySelector(".told").textContent = text;
    };
    say("Being written …");
    try {
      const reply = await fetch("/act", {
        method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify({ act: form.dataset.act, ...words }),
      });
      const { problem } = await reply.json();
      say(problem || "Done.");
      if (!problem) form.reset();
      if (!problem && whole.open) whole.close();
      if (problem) sent.delete(key);
      else setTimeout(() => { sent.delete(key); pressAll(); }, SETTLE_MS); // until then the next question has come
    } catch {
      say("Not done: no connection. Answer again when it is back.");
      sent.delete(key);
    }
    pressAll();
  }

  async function look(button) {
    const content = document.getElementById("whole-content");
    try {
      const reply = await fetch(button.dataset.open);
      content.innerHTML = reply.ok ? await reply.text() : "<p>It is no longer there.</p>";
    } catch {
      content.innerHTML = "<p>No connection; open it again when it is back.</p>";
    }
    content.querySelectorAll("form[data-key]").forEach(press);
    if (!whole.open) whole.showModal();
    whole.scrollTop = 0;
  }

  document.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (button?.dataset.open) look(button);
    else if (button?.name && button.form?.dataset.key) choose(button);
  });
  document.addEventListener("submit", (event) => {
    if (!event.target.dataset.key) return;
    event.preventDefault();
    if (sent.has(event.target.dataset.key)) return;
    const open = openIn(event.target);
    if (open) open.querySelector("button, input").focus();
    else send(event.target);
  });

  function alive() {
    heard = Date.now();
    if (lost !== null) { lost = null; say(); }
  }

  function say(words) {
    document.body.classList.toggle("lost", lost !== null);
    link.textContent = lost === null ? "connected" :
      words || `No connection since ${clock(lost)}: what stands here is from then. This page comes back by itself.`;
  }

  function listen() {
    source?.close();
    source = new EventSource("/events");
    source.addEventListener("parts", (event) => { alive(); show(JSON.parse(event.data)); });
    source.addEventListener("beat", alive);
    source.addEventListener("error", () => { if (lost === null) { lost = heard; say(); } });
  }

  // The browser tries again by itself, unless it was refused or the line went dead without a word.
  setInterval(async () => {
    const silent = Date.now() - heard > SILENT_MS;
    if (silent && lost === null) { lost = heard; say(); }
    if (source.readyState === EventSource.CLOSED) {
      const reply = await fetch("/page/day.js").catch(() => null);
      if (reply?.status === 403) say("The program was started anew: type the whole address that its terminal shows now.");
      else if (reply?.ok) listen();
    } else if (silent && source.readyState === EventSource.OPEN) {
      listen();
    }
  }, AGAIN_MS);
  pressAll();
  listen();
})();
