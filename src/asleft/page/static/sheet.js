// Keeps an open sheet true: swaps in what the server says, tells when contact is lost, keeps what
// was typed over a reload, and gives a tone when it is the person's turn. Everything works without.
"use strict";
(() => {
  const LOST_MS = 2200;
  const body = document.body;
  const keep = {
    get: (key) => { try { return sessionStorage.getItem(key); } catch { return null; } },
    set: (key, value) => { try { sessionStorage.setItem(key, value); } catch { /* full or barred */ } },
    drop: (key) => { try { sessionStorage.removeItem(key); } catch { /* barred */ } },
  };

  // The key of --lan comes behind the # of the QR code's address, which no server and no log sees.
  const keyForm = document.getElementById("key-form");
  if (keyForm && location.hash.length > 1) {
    document.getElementById("key").value = decodeURIComponent(location.hash.slice(1));
    history.replaceState(null, "", location.pathname);
    keyForm.submit();
    return;
  }

  let last = { text: "", busy: false };
  let heard = Date.now();
  let busyFetching = false;
  let again = false;

  function dress(swapped) {
    const field = document.getElementById("value");
    const form = document.querySelector("form[data-step]");
    if (field && form) {
      const key = "typed " + form.dataset.step;
      if (!field.value) field.value = keep.get(key) || "";
      field.addEventListener("input", () => keep.set(key, field.value));
      form.addEventListener("submit", () => keep.set(key, field.value));
      if (swapped) field.focus({ preventScroll: true });
      field.setSelectionRange(field.value.length, field.value.length);
    }
    for (const button of document.querySelectorAll("[data-copy]")) {
      button.addEventListener("click", () => {
        field.value = button.dataset.copy;
        field.dispatchEvent(new Event("input"));
        field.focus();
      });
    }
    for (const box of document.querySelectorAll("[data-keep]")) {
      const key = location.pathname + " " + box.dataset.keep;
      box.checked = keep.get(key) === "1";
      box.addEventListener("change", () => keep.set(key, box.checked ? "1" : "0"));
    }
    for (const each of document.querySelectorAll("nav details")) {
      each.open = matchMedia("(min-width: 46rem)").matches;
    }
  }

  // Answers go without leaving the sheet, so that the keyboard of a phone stays where it is.
  async function send(form, submitter) {
    const data = new URLSearchParams(new FormData(form));
    if (submitter && submitter.name) data.append(submitter.name, submitter.value);
    for (const button of form.querySelectorAll("button")) button.disabled = true;
    try {
      const reply = await fetch(form.action, { method: "POST", body: data, headers: { "x-in-place": "1" } });
      show(await reply.text(), reply.redirected ? reply.url : null, reply.ok && form.dataset.step);
    } catch {
      for (const button of form.querySelectorAll("button")) button.disabled = false;
      lost(true);
    }
  }
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (!form.closest(".now") || !window.fetch || form.method !== "post") return;
    event.preventDefault();
    send(form, event.submitter);
  });

  // What was asked for earlier may arrive later: it is older, and is let go.
  function older(version) {
    const [boot, count] = (version || "").split(".");
    const [here, shown] = (body.dataset.version || "").split(".");
    return boot === here && Number(count) < Number(shown);
  }

  function show(text, url, sent) {
    const fresh = new DOMParser().parseFromString(text, "text/html");
    if (older(fresh.body.dataset.version)) { refresh(); return; }
    const now = document.querySelector("form[data-step]");
    const next = fresh.querySelector("form[data-step]");
    const problem = (page) => page.getElementById("problem")?.textContent || "";
    if (now && next && now.dataset.step === next.dataset.step && problem(document) === problem(fresh)) {
      // The same step: the field stays as it is, under the hands that type in it.
      body.dataset.version = fresh.body.dataset.version || "";
      for (const button of now.querySelectorAll("button")) button.disabled = false;
      return;
    }
    // Let go of only when it was sent and counted: a server that was ended asks for it again, and
    // so does a step whose answer could not be kept.
    const counted = next ? next.dataset.step !== sent : !fresh.querySelector("form[action$='/go-on']");
    if (sent && counted) keep.drop("typed " + sent);
    for (const id of ["sheet", "strip"]) {
      const old = document.getElementById(id);
      const young = fresh.getElementById(id);
      for (const each of young ? young.querySelectorAll("[autofocus]") : []) each.removeAttribute("autofocus");
      if (old && young) old.replaceWith(document.adoptNode(young));
    }
    document.title = fresh.title;
    body.className = fresh.body.className;
    body.dataset.version = fresh.body.dataset.version || "";
    if (url && url !== location.href) history.replaceState(null, "", new URL(url).pathname);
    dress(true);
    leave();
  }

  async function refresh() {
    if (busyFetching) { again = true; return; }
    busyFetching = true;
    try {
      const reply = await fetch(location.pathname + location.search.replace(/[?&]stale=1/, ""));
      if (reply.ok) {
        const text = await reply.text();
        if (document.querySelector("[data-swap]")) show(text, null);
        else {
          const fresh = new DOMParser().parseFromString(text, "text/html");
          const strip = fresh.getElementById("strip");
          const old = document.getElementById("strip");
          if (strip && old) old.replaceWith(document.adoptNode(strip));
          body.dataset.version = fresh.body.dataset.version || "";
        }
      }
    } catch { /* the stream tells that contact is lost */ }
    busyFetching = false;
    if (again) { again = false; refresh(); }
  }

  function lost(yes) {
    const box = document.getElementById("lost");
    if (!yes) { box.hidden = true; return; }
    if (!box.hidden) return;
    box.textContent = "No contact with the program on your computer. "
      + (last.text ? "Last heard: " + last.text + ". " : "")
      + (last.busy ? "The machine may be hot or moving: stay with it, and use its power switch if anything is wrong. " : "")
      + "What you typed is kept here; this goes away by itself when contact is back.";
    box.hidden = false;
  }

  // A short tone when it becomes the person's turn; browsers allow it after the first touch or key.
  let sound = null;
  const mute = document.getElementById("mute");
  mute.hidden = false;
  const silent = () => keep.get("mute") === "1";
  const label = () => { mute.textContent = `Tone when it is your turn: ${silent() ? "off" : "on"}`; };
  mute.addEventListener("click", () => { keep.set("mute", silent() ? "0" : "1"); label(); });
  label();
  addEventListener("pointerdown", () => { sound ||= window.AudioContext ? new AudioContext() : null; }, { once: true });
  addEventListener("keydown", () => { sound ||= window.AudioContext ? new AudioContext() : null; }, { once: true });
  function tone() {
    if (!sound || silent()) return;
    const voice = sound.createOscillator();
    const level = sound.createGain();
    voice.frequency.value = 660;
    level.gain.setValueAtTime(0.12, sound.currentTime);
    level.gain.exponentialRampToValueAtTime(0.001, sound.currentTime + 0.35);
    voice.connect(level).connect(sound.destination);
    voice.start();
    voice.stop(sound.currentTime + 0.36);
  }

  // One person, one caliper, several machines: a phone goes to the one that needs the person, and
  // never away from a question that stands there, nor from a sheet that was opened meanwhile.
  const follow = document.getElementById("follow");
  const phone = matchMedia("(max-width: 45.99rem)");
  let away = null;
  function leave() {
    if (away && following() && !document.querySelector("form[data-step]")) location.assign(away);
  }
  const following = () => (follow ? (keep.get("follow") || (phone.matches ? "1" : "0")) === "1" : false);
  if (follow) {
    const told = () => { follow.textContent = "Go where I am needed: " + (following() ? "on" : "off"); };
    follow.hidden = false;
    follow.addEventListener("click", () => { keep.set("follow", following() ? "0" : "1"); told(); });
    told();
  }

  // The temperature as it rises: the curve, its last number, and the table behind it.
  function warm(told) {
    const curve = document.getElementById("warm-curve");
    if (!curve) return;
    curve.setAttribute("points", told.points);
    for (const end of ["y1", "y2"]) document.getElementById("warm-target").setAttribute(end, told.line);
    document.getElementById("warm-now").textContent = told.now;
    const rows = told.rows.map((row) => {
      const line = document.createElement("tr");
      for (const text of row) line.insertCell().textContent = text;
      return line;
    });
    document.getElementById("warm-rows").replaceChildren(...rows);
  }

  function listen(address) {
    const stream = new EventSource(address);
    const hear = () => { heard = Date.now(); lost(false); };
    stream.addEventListener("beat", hear);
    stream.addEventListener("message", (event) => {
      hear();
      const state = JSON.parse(event.data);
      if (state.tone && last.seen && !last.tone) tone();
      const changed = state.version !== body.dataset.version;
      if (!state.elsewhere) away = null;
      else if (last.seen && !last.elsewhere) away = state.elsewhere;
      last = { ...state, seen: true };
      const bar = document.getElementById("progress");
      if (bar && state.wait) {
        bar.value = state.wait.done;
        document.getElementById("left").textContent = state.wait.left ? state.wait.left + " left" : "";
      }
      if (state.warm) warm(state.warm);
      if (changed) refresh();
      leave();
    });
    setInterval(() => { if (Date.now() - heard > LOST_MS) lost(true); }, 250);
    addEventListener("pageshow", (event) => { if (event.persisted) refresh(); });
  }

  dress(false);
  if (body.dataset.live && window.EventSource) listen(body.dataset.live);
})();
