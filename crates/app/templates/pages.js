// The picture can be pointed at: time, value and expected band appear in a line under it. The figures are those of the
// table beneath the picture; nothing is reckoned here but where the pointer is.
"use strict";

for (const figure of document.querySelectorAll(".picture")) listenTo(figure);
oneAtATime();
newerRows();
zoom();

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
