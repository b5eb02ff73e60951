// The picture can be pointed at: time, value and expected band appear in a line under it. The figures are those of the
// table beneath the picture; nothing is reckoned here but where the pointer is.
"use strict";

for (const figure of document.querySelectorAll(".picture")) listenTo(figure);
oneAtATime();
answers();
newerRows();
zoom();
if (document.querySelector(".bring")) broughtMarks();
for (const form of document.querySelectorAll("form.drop")) dropping(form);

function listenTo(figure) {
  const rows = [...figure.querySelectorAll("tr[data-t]")].reverse();
  const heads = [...figure.querySelectorAll("thead th")].slice(1).map(words);
  if (!rows.length) return;
  const times = rows.map((row) => Number(row.dataset.t));
  const line = document.createElement("p");
  line.className = "readout soft";
  line.textContent = matchMedia("(pointer: coarse)").matches
    ? "Touch the picture to read a milking."
    : "Point at the picture, or move through it with the arrow keys.";
  const spoken = document.createElement("p");
  spoken.className = "hidden";
  spoken.setAttribute("aria-live", "polite");
  figure.querySelector(".twin").before(line, spoken);
  figure.classList.add("live");

  let row = -1, lane = 0, timer = 0;
  for (const svg of figure.querySelectorAll("svg.lanes")) {
    const lanes = [...svg.querySelectorAll("[data-lane]")].map((g) => [Number(g.dataset.top), Number(g.dataset.bottom)]);
    const from = Number(svg.dataset.from), to = Number(svg.dataset.to);
    const left = Number(svg.dataset.left), right = Number(svg.dataset.right);
    const pointer = document.createElementNS("http://www.w3.org/2000/svg", "line");
    pointer.setAttribute("class", "pointer");
    pointer.setAttribute("visibility", "hidden");
    svg.append(pointer);
    svg.setAttribute("tabindex", "0");

    const shown = (n) => from <= times[n] && times[n] <= to;
    const cell = (n) => rows[n].cells[lane + 1];
    const holds = (n) => n >= 0 && n < rows.length && shown(n) && words(cell(n)) !== "";
    const show = () => {
      if (!holds(row)) return;
      const x = left + (right - left) * (times[row] - from) / (to - from);
      pointer.setAttribute("x1", x);
      pointer.setAttribute("x2", x);
      pointer.setAttribute("y1", lanes[lane][0]);
      pointer.setAttribute("y2", lanes[lane][1]);
      pointer.setAttribute("visibility", "visible");
      const [value, band] = [cell(row).querySelector("b"), cell(row).querySelector("span")];
      const said = value ? `${words(value)}, expected ${words(band)}` : words(cell(row));
      line.textContent = `${words(rows[row].cells[0])} · ${heads[lane]}: ${said}`;
      line.classList.remove("soft");
      clearTimeout(timer);
      timer = setTimeout(() => { spoken.textContent = line.textContent; }, 300);
    };
    const step = (by) => {
      let next = row < 0 ? (by < 0 ? rows.length : -1) : row;
      do next += by; while (next >= 0 && next < rows.length && !holds(next));
      if (holds(next)) row = next;
    };
    const nearest = (time) => {
      let best = -1;
      for (let n = 0; n < times.length; n += 1) {
        if (holds(n) && (best < 0 || Math.abs(times[n] - time) < Math.abs(times[best] - time))) best = n;
      }
      return best;
    };
    const at = (event) => {
      const place = svg.getBoundingClientRect(), box = svg.viewBox.baseVal;
      const x = (event.clientX - place.left) * box.width / place.width;
      const y = (event.clientY - place.top) * box.height / place.height;
      const middle = ([top, bottom]) => Math.abs(y - (top + bottom) / 2);
      lane = lanes.reduce((best, one, n) => (middle(one) < middle(lanes[best]) ? n : best), 0);
      row = nearest(from + (to - from) * (x - left) / (right - left));
      show();
    };
    svg.addEventListener("pointermove", at);
    svg.addEventListener("pointerdown", at);
    svg.addEventListener("keydown", (event) => {
      const moves = {
        ArrowLeft: () => step(-1),
        ArrowRight: () => step(1),
        Home: () => { row = -1; step(1); },
        End: () => { row = rows.length; step(-1); },
        ArrowUp: () => strip(-1),
        ArrowDown: () => strip(1),
      };
      if (event.altKey || event.ctrlKey || event.metaKey || !moves[event.key]) return;
      event.preventDefault();
      moves[event.key]();
      show();
    });
    const strip = (by) => {
      const time = times[Math.max(row, 0)];
      lane = Math.min(Math.max(lane + by, 0), lanes.length - 1);
      row = nearest(row < 0 ? to : time);
    };
  }
}

function words(element) {
  return element.textContent.replace(/\s+/g, " ").trim();
}

// One call is open at a time. On a phone the list above shrinks when another closes: keep the opened one in sight.
function oneAtATime() {
  const calls = [...document.querySelectorAll("details[name=call]")];
  for (const call of calls) {
    call.addEventListener("toggle", () => {
      if (!call.open) return;
      // Browsers that do not know names of details would leave both open.
      for (const other of calls) if (other !== call) other.open = false;
      if (call.getBoundingClientRect().top < 0) call.scrollIntoView();
    });
  }
}

// Files may be dropped anywhere on a page that takes them. Too much is told before it is sent.
function dropping(form) {
  const input = form.querySelector("input[type=file]"), button = form.querySelector("button");
  const said = document.createElement("p");
  said.setAttribute("role", "status");
  button.after(said);
  const over = (event, on) => {
    if (![...event.dataTransfer.types].includes("Files")) return;
    event.preventDefault();
    form.classList.toggle("over", on);
  };
  document.addEventListener("dragover", (event) => over(event, true));
  document.addEventListener("dragleave", (event) => over(event, false));
  document.addEventListener("drop", (event) => {
    over(event, false);
    if (event.dataTransfer.files.length) input.files = event.dataTransfer.files;
  });
  form.addEventListener("submit", (event) => {
    const bytes = [...input.files].reduce((sum, file) => sum + file.size, 0);
    if (bytes > Number(form.dataset.most)) {
      event.preventDefault();
      said.textContent = "These files are too large together. Pack them, send fewer at once, or read them with cowpath import.";
      return;
    }
    said.textContent = bytes > 20e6 ? `Sending ${Math.round(bytes / 1e6)} MB and reading them; this page waits for the answer.` : "Reading …";
    button.disabled = true;
  });
  // Back from the answer: the form can be used again.
  addEventListener("pageshow", () => { button.disabled = false; said.textContent = ""; });
}

// What was found is sent as it is tapped. Where the network is away it is kept on this phone and sent when it is back; each
// answer has a name of its own, so that one sent twice counts once.
function answers() {
  const KEPT = "cowpath-found", WHO = "cowpath-who";
  const read = () => { try { return JSON.parse(localStorage.getItem(KEPT)) || []; } catch { return []; } };
  const write = (all) => { try { localStorage.setItem(KEPT, JSON.stringify(all)); return true; } catch { return false; } };
  const said = document.createElement("p");
  said.className = "note";
  said.setAttribute("role", "status");
  document.querySelector("main").prepend(said);
  said.hidden = true;
  const say = (text) => { said.textContent = text; said.hidden = !text; };
  const waiting = (all) => say(!all.length ? "" : all.length === 1
    ? "One answer waits on this phone for the network; it is sent when the farm can be reached."
    : `${all.length} answers wait on this phone for the network; they are sent when the farm can be reached.`);
  const post = async (data) => {
    const response = await fetch("/api/found", {
      method: "POST",
      headers: { "content-type": "application/json" },
      body: JSON.stringify(data),
    });
    return [response.ok, await response.json()];
  };
  const again = async () => {
    for (const data of read()) {
      try {
        const [ok, answer] = await post(data);
        write(read().filter((one) => one.sent_as !== data.sent_as));
        if (!ok) return say(`An answer could not be kept: ${answer.happened} ${answer.do}`);
      } catch { break; }
    }
    waiting(read());
  };

  // As if the page had come with it: it counts as typed only when it is changed.
  window.whoLooked = () => {
    for (const field of document.querySelectorAll(".choices input[name=by]")) {
      try { field.defaultValue = localStorage.getItem(WHO) || ""; } catch { /* Typed each time, then. */ }
    }
  };
  window.whoLooked();
  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (form.getAttribute("action") !== "/found") return;
    event.preventDefault();
    const data = Object.fromEntries(new FormData(form, event.submitter));
    const back = data.back || "/round";
    data.sent_as = `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}`;
    try { if (data.by) localStorage.setItem(WHO, data.by); } catch { /* Not remembered. */ }
    let sent;
    try {
      sent = await post(data);
    } catch {
      if (write([...read(), data])) {
        for (const button of form.querySelectorAll("button")) button.disabled = true;
        waiting(read());
      } else {
        say("The farm cannot be reached, and this phone keeps nothing: try again when the network is back.");
      }
      return said.scrollIntoView({ block: "nearest" });
    }
    const [ok, answer] = sent;
    if (ok) location.assign(`${back}${back.includes("?") ? "&" : "?"}kept=${answer.id}`);
    else { say(`${answer.happened} ${answer.do}`); said.scrollIntoView({ block: "nearest" }); }
  });
  addEventListener("online", again);
  if (read().length) again();
  setInterval(() => { if (read().length) again(); }, 30000);
  // The address is the page's own again: loading it anew says nothing twice.
  if (/[?&](kept|undone)=/.test(location.search)) {
    const own = new URLSearchParams(location.search);
    own.delete("kept");
    own.delete("undone");
    history.replaceState(null, "", location.pathname + (own.size ? `?${own}` : ""));
  }
}
