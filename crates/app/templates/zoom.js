
// A cow's picture over another span: dragged over, pinched, or asked for by + and −. The server draws it anew; only the
// part of the page that shows it is exchanged, and going back shows the span before.
function zoom() {
  if (!document.body.classList.contains("cow")) return;
  const seen = () => document.querySelector(".seen");
  if (!seen()?.querySelector("svg.lanes")) return;
  const DAY = 86400000;
  let asking = null;
  ready();
  addEventListener("popstate", () => ask(location.href, null));

  // The span on the page, in days; the form holds it.
  function span() {
    const day = (name) => Date.parse(`${seen().querySelector(`.span input[name=${name}]`).defaultValue}T00:00Z`) / DAY;
    return [day("from"), day("to")];
  }

  function show(from, to) {
    const [first, last] = [Math.round(Math.min(from, to)), Math.round(Math.max(from, to))];
    const now = span();
    if (first === now[0] && last === now[1]) return;
    const url = new URL(location.href);
    for (const name of ["kept", "undone"]) url.searchParams.delete(name);
    url.searchParams.set("from", new Date(first * DAY).toISOString().slice(0, 10));
    url.searchParams.set("to", new Date(last * DAY).toISOString().slice(0, 10));
    ask(url.href, url.href);
  }

  // Half or twice the span, around a place of it (0 its beginning, 1 its end).
  function by(times, around) {
    const [from, to] = span();
    const days = Math.max(1, Math.round((to - from + 1) * times));
    const begins = Math.round(from + (to - from + 1 - days) * around);
    show(begins, begins + days - 1);
  }

  async function ask(url, kept) {
    asking?.abort();
    asking = new AbortController();
    const own = seen();
    own.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(url, { signal: asking.signal });
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const fresh = page.querySelector(".seen");
      if (!answer.ok || !fresh) return void (location.href = url);
      const focus = own.contains(document.activeElement) ? document.activeElement : null;
      const kind = focus?.closest("svg") ? `svg.${focus.classList.contains("desk") ? "desk" : "phone"}` : null;
      const button = focus?.dataset.zoom;
      // A ring where the keys were used, and none where the mouse was.
      const focusVisible = focus?.matches(":focus-visible") ?? false;
      const at = scrollY;
      own.replaceWith(fresh);
      document.title = page.title;
      if (kept) history.pushState(null, "", kept);
      for (const figure of fresh.querySelectorAll(".picture")) listenTo(figure);
      ready();
      fresh.querySelector(button ? `[data-zoom="${button}"]` : kind ?? "nothing")?.focus({ preventScroll: true, focusVisible });
      scrollTo(0, at);
      const said = document.createElement("p");
      said.className = "hidden";
      said.setAttribute("role", "status");
      fresh.append(said);
      setTimeout(() => { said.textContent = words(fresh.querySelector("h2")); }, 200);
    } catch (error) {
      if (error.name === "AbortError") return;
      own.removeAttribute("aria-busy");
      const line = own.querySelector(".readout");
      if (line) line.textContent = "The farm’s PC did not answer; the picture is the one before.";
      if (!kept) location.reload();
    }
  }

  function ready() {
    const part = seen(), spans = part.querySelector(".spans");
    for (const [word, times, says] of [["Closer", 0.5, "Half as many days"], ["Wider", 2, "Twice as many days"]]) {
      const button = document.createElement("button");
      button.type = "button";
      button.dataset.zoom = word;
      button.textContent = word;
      button.setAttribute("aria-label", `${word}: ${says}`);
      button.addEventListener("click", () => by(times, 1));
      spans.append(button, " ");
    }
    for (const svg of part.querySelectorAll("svg.lanes")) dragged(svg);
    const line = part.querySelector(".readout");
    if (line && !matchMedia("(pointer: coarse)").matches) line.textContent += " Drag over days to see them closer.";
  }

  function dragged(svg) {
    const data = (name) => Number(svg.dataset[name]);
    const box = svg.viewBox.baseVal;
    const fingers = new Map();
    let from = null, spread = 0, mark = null, last = 1;
    const x = (event) => {
      const place = svg.getBoundingClientRect();
      return Math.min(Math.max((event.clientX - place.left) * box.width / place.width, data("left")), data("right"));
    };
    const share = (at) => (at - data("left")) / (data("right") - data("left"));
    // The day of the calendar that a place lies on; the axis begins with the first day.
    const day = (at) => span()[0] + Math.floor(share(at) * (data("to") - data("from")) / DAY - 1e-9);
    const wide = () => {
      const [one, two] = [...fingers.values()];
      return Math.max(Math.abs(one.clientX - two.clientX), 1);
    };
    const end = () => {
      mark?.remove();
      mark = null;
      from = null;
    };
    svg.addEventListener("pointerdown", (event) => {
      fingers.set(event.pointerId, event);
      if (fingers.size === 2) spread = wide();
      if (event.pointerType === "mouse" && event.button === 0) {
        from = x(event);
        svg.setPointerCapture(event.pointerId);
      }
    });
    svg.addEventListener("pointermove", (event) => {
      last = share(x(event));
      if (fingers.has(event.pointerId)) fingers.set(event.pointerId, event);
      if (from === null || Math.abs(x(event) - from) < 12) return;
      if (!mark) {
        mark = document.createElementNS("http://www.w3.org/2000/svg", "rect");
        mark.setAttribute("class", "chosen");
        mark.setAttribute("height", box.height);
        svg.prepend(mark);
      }
      mark.setAttribute("x", Math.min(from, x(event)));
      mark.setAttribute("width", Math.abs(x(event) - from));
    });
    const up = (event) => {
      if (fingers.size === 2 && spread) {
        const [one, two] = [...fingers.values()];
        const middle = share((x(one) + x(two)) / 2), times = spread / wide();
        if (times < 0.8 || 1.25 < times) by(Math.min(Math.max(times, 0.1), 10), middle);
        spread = 0;
      }
      fingers.delete(event.pointerId);
      if (from !== null && mark) show(day(from), day(x(event)));
      end();
    };
    svg.addEventListener("pointerup", up);
    svg.addEventListener("pointercancel", (event) => { fingers.delete(event.pointerId); end(); });
    svg.addEventListener("keydown", (event) => {
      const times = { "+": 0.5, "=": 0.5, "-": 2, "−": 2 }[event.key];
      if (event.key === "Escape") end();
      if (!times || event.altKey || event.ctrlKey || event.metaKey) return;
      event.preventDefault();
      by(times, last);
    });
  }
}
