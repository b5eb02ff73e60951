
// Newer rows appear by themselves where nobody is reading: the list is set in place, focus and scroll stay. Where
// something is open, typed or scrolled to, the page says that there is a newer round, and moves nothing.
function newerRows() {
  const asked = new URLSearchParams(location.search);
  if (asked.has("at") || !document.querySelector("main .head")) return;
  const walk = () => document.querySelector(".walk[data-mark]");
  let known = walk()?.dataset.mark ?? null;
  let stream = null;

  const news = (mark) => {
    const was = known;
    known = mark;
    if (was !== null && was !== mark) (walk() && atRest() ? takeIn() : say());
  };

  // A line is held only while the page is looked at: a browser has few of them.
  const listen = () => {
    if (document.hidden) {
      stream?.close();
      stream = null;
    } else if (!stream) {
      stream = new EventSource("/events");
      stream.addEventListener("round", (event) => news(event.data));
      stream.addEventListener("error", () => {
        if (stream?.readyState !== EventSource.CLOSED) return;
        document.removeEventListener("visibilitychange", listen);
        askEachMinute();
      });
    }
  };
  if (window.EventSource) {
    document.addEventListener("visibilitychange", listen);
    listen();
  } else {
    askEachMinute();
  }

  function askEachMinute() {
    let mark = null;
    const ask = async () => {
      if (document.hidden) return;
      try {
        const now = (await fetch(location.pathname, { method: "HEAD", cache: "no-store" })).headers.get("etag");
        if (mark && now && now !== mark) say();
        mark = mark || now;
      } catch { /* The network is away: ask again later. */ }
    };
    ask();
    setInterval(ask, 60000);
  }

  // Nobody is in the middle of anything.
  function atRest() {
    const main = document.querySelector("main");
    const typed = [...main.querySelectorAll("input, textarea")].some((one) =>
      one.type === "checkbox" ? one.checked !== one.defaultChecked : one.value !== one.defaultValue);
    const on = document.activeElement;
    return scrollY === 0 && !typed && !main.querySelector("details[open]") && !getSelection().toString()
      && (!main.contains(on) || on === main || same(main, on) !== null);
  }

  // The element of another page that is the same to the reader: by its link, its name, or the call it opens.
  function same(within, one) {
    const way = one.matches("summary") ? one.querySelector(".say") ?? one : one;
    const key = words(way) + (one.getAttribute("href") ?? one.getAttribute("name") ?? "");
    return key === "" ? null : [...within.querySelectorAll(one.tagName)].find((other) => {
      const says = other.matches("summary") ? other.querySelector(".say") ?? other : other;
      return words(says) + (other.getAttribute("href") ?? other.getAttribute("name") ?? "") === key;
    }) ?? null;
  }

  async function takeIn() {
    try {
      const answer = await fetch(location.pathname, { cache: "no-cache" });
      if (!answer.ok) return say();
      const page = new DOMParser().parseFromString(await answer.text(), "text/html");
      const [own, fresh] = [walk(), page.querySelector(".walk[data-mark]")];
      // Somebody may have begun to read in the meantime.
      if (!own || !fresh || page.body.className !== document.body.className || !atRest()) return say();
      const focused = own.contains(document.activeElement) ? document.activeElement : null;
      const next = focused && same(fresh, focused);
      if (focused && !next) return say();
      // Nothing was open, so nothing opens by itself.
      for (const call of fresh.querySelectorAll("details[open]")) call.open = false;
      known = fresh.dataset.mark;
      own.replaceWith(fresh);
      document.title = page.title;
      next?.focus({ preventScroll: true });
      scrollTo(0, 0);
      for (const figure of fresh.querySelectorAll(".picture")) listenTo(figure);
      oneAtATime();
      window.whoLooked();
      const said = document.createElement("p");
      said.className = "hidden taken";
      said.setAttribute("role", "status");
      fresh.querySelector(".head").append(said);
      setTimeout(() => { said.textContent = "Newer rows have been read; this is the new round."; }, 200);
    } catch {
      say();
    }
  }

  // Said at the page's edge, where it moves nothing.
  function say() {
    if (document.querySelector(".newer")) return;
    const said = document.createElement("p");
    said.className = "note newer";
    said.setAttribute("role", "status");
    const link = document.createElement("a");
    link.href = walk() ? location.pathname : location.pathname + location.search;
    link.className = "way";
    link.textContent = walk() ? "Show the new round" : "Show them";
    said.append("Newer rows have been read. ", link);
    document.querySelector("main").append(said);
  }
}
