// Puts what the server sends where it belongs. All words come from the server; nothing is decided here.
"use strict";
(() => {
  const body = document.body, lost = document.getElementById("lost"), said = document.getElementById("said");
  const QUIET = 15000; // ms without a word before the connection counts as lost: three beats
  let stream, heard, silence;

  const say = text => { if (text) said.textContent = text; };
  const cut = why => { if (lost.hidden) { lost.textContent = why; lost.hidden = false; } };

  // The page anew, without the fields of a step that is over.
  async function refresh() {
    const answer = await fetch(location.pathname, { credentials: "same-origin" });
    if (answer.redirected && new URL(answer.url).pathname === "/enter") return location.reload();
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const had = document.activeElement;
    for (const fresh of page.querySelectorAll(".bench")) {
      const old = document.getElementById(fresh.id);
      if (old && old.dataset.phase !== fresh.dataset.phase) old.replaceWith(document.adoptNode(fresh));
    }
    document.title = page.title;
    history.replaceState(null, "", location.pathname);
    if (!document.contains(had) || had === body) {
      if (!scan()) document.getElementById("main").focus();
      scrollTo(0, 0);
    }
  }

  // The scanner types into the serial number's field, and the result above it stays in view.
  function scan() {
    const field = document.querySelector("[data-scan]");
    if (field) field.focus({ preventScroll: true });
    return Boolean(field);
  }
  scan();

  let refreshing = Promise.resolve();
  function show(screen) {
    if (screen.boot !== body.dataset.boot) return location.reload();
    for (const bench of screen.benches) {
      const panel = document.getElementById(bench.id);
      if (!panel) continue;
      if (bench.said !== undefined) say(bench.said);
      if (panel.dataset.phase !== bench.phase) {
        refreshing = refreshing.then(() => panel.isConnected ? refresh() : null).catch(() => {});
        continue;
      }
      for (const [id, html] of Object.entries(bench.html || {})) part(id, html);
      for (const [id, text] of Object.entries(bench.text)) {
        const place = document.getElementById(id);
        if (place && place.textContent !== text) place.textContent = text;
      }
      const carriage = document.getElementById(bench.id + "-carriage");
      if (carriage && bench.carriage !== null) {
        carriage.removeAttribute("hidden");
        carriage.setAttribute("transform", `translate(${bench.carriage} 0)`);
      }
    }
  }

  // A piece of a panel; one that is as it was stays, and keeps the focus.
  const shown = new WeakMap();
  function part(id, html) {
    const at = document.getElementById(id);
    if (!at || shown.get(at) === html) return;
    const first = !shown.has(at), within = at.contains(document.activeElement) && at !== document.activeElement;
    shown.set(at, html);
    if (first && at.innerHTML === html) return;
    at.innerHTML = html;
    const question = at.querySelector("#question");
    if (question) question.focus();
    else if (within) document.getElementById("main").focus();
  }

  function listen() {
    if (stream) stream.close();
    stream = new EventSource(body.dataset.live);
    const alive = () => { heard = Date.now(); lost.hidden = true; };
    stream.addEventListener("screen", event => { alive(); show(JSON.parse(event.data)); });
    stream.addEventListener("beat", alive);
    stream.onerror = () => {
      cut("The connection to the bench is lost. What runs there goes on; trying again.");
      if (stream.readyState === EventSource.CLOSED) setTimeout(listen, 2000);
    };
  }

  if (body.dataset.live) {
    heard = Date.now();
    listen();
    silence = setInterval(() => { if (Date.now() - heard > QUIET) { heard = Date.now(); cut("Nothing is heard from the bench. What runs there goes on; trying again."); listen(); } }, 1000);
    addEventListener("pagehide", () => { clearInterval(silence); stream.close(); });
    addEventListener("pageshow", event => { if (event.persisted) location.reload(); });
  }

  // Stop and answers go out without leaving the page.
  document.addEventListener("submit", async event => {
    const form = event.target;
    if (!("quiet" in form.dataset)) return;
    event.preventDefault();
    const sent = new URLSearchParams(new FormData(form, event.submitter));
    try {
      const answer = await fetch(form.action, { method: "POST", body: sent, redirect: "manual", credentials: "same-origin" });
      if (answer.type !== "opaqueredirect" && !answer.ok && answer.status !== 409) throw answer.status;
    } catch {
      lost.hidden = true;
      cut("That was not delivered: the bench does not answer. For danger use the bench's emergency stop.");
    }
  });

  document.addEventListener("keydown", event => {
    if (event.ctrlKey || event.metaKey || event.altKey || event.repeat) return;
    if (event.key === "Escape") {
      const stop = document.querySelector("[data-escape]");
      if (stop) stop.form.requestSubmit(stop);
    }
    const asked = event.target.closest && event.target.closest(".ask");
    if (asked && event.target.tagName !== "INPUT") {
      const key = asked.querySelector(`[data-key="${CSS.escape(event.key.toLowerCase())}"]`);
      if (key) { event.preventDefault(); key.form.requestSubmit(key); }
    }
  });
})();
