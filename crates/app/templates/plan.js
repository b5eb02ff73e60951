
// The Plan page: the answer fills while it is reckoned. Without this script the form asks for a smaller answer at once.
function planFills() {
  const form = document.querySelector("form#plan");
  const answer = document.querySelector("#answer");
  if (!form || !answer || !window.EventSource) return;
  const stop = document.querySelector("#stop");
  let stream = null;

  const end = () => {
    stream?.close();
    stream = null;
    stop.hidden = true;
    answer.removeAttribute("aria-busy");
  };
  const say = (text, role) => {
    const line = document.createElement("p");
    line.className = role === "alert" ? "caution" : "soft";
    line.setAttribute("role", role);
    line.textContent = text;
    answer.replaceChildren(line);
  };
  const reckon = (words) => {
    end();
    stop.hidden = false;
    answer.setAttribute("aria-busy", "true");
    const own = stream = new EventSource(`/plan/events?${words}`);
    own.addEventListener("waiting", (event) => {
      const ahead = Number(event.data);
      say(`Waiting: ${ahead === 1 ? "one other plan is" : `${ahead} other plans are`} reckoned first.`, "status");
    });
    own.addEventListener("plan", (event) => {
      const open = [...answer.querySelectorAll("details")].map((details) => details.open);
      answer.innerHTML = event.data;
      answer.querySelectorAll("details").forEach((details, place) => { details.open = open[place] ?? false; });
    });
    own.addEventListener("wrong", (event) => {
      say(event.data, "alert");
      end();
    });
    own.addEventListener("done", end);
    // A line that broke is not taken up again by itself: the plan would begin anew.
    own.addEventListener("error", () => {
      if (own !== stream) return;
      if (!answer.querySelector(".large")) say("The plan was not reckoned: the farm did not answer, or too many plans wait. Ask again.", "alert");
      end();
    });
  };
  // What the form holds, with its address: the same address gives the same question again.
  const ask = () => {
    const words = new URLSearchParams(new FormData(form));
    for (const [name, value] of [...words]) if (!value.trim()) words.delete(name);
    history.replaceState(null, "", `/plan?${words}`);
    const asked = [...words].map((pair) => pair.join("=")).sort().join("&");
    for (const link of document.querySelectorAll(".asks a")) {
      const own = [...new URL(link.href).searchParams].map((pair) => pair.join("=")).sort().join("&");
      if (own === asked) link.setAttribute("aria-current", "true");
      else link.removeAttribute("aria-current");
    }
    reckon(words);
    scrollTo({ top: 0 });
  };
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    ask();
  });
  document.querySelector(".asks")?.addEventListener("click", (event) => {
    const link = event.target.closest("a");
    if (!link || event.button || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    const words = new URL(link.href).searchParams;
    for (const field of form.querySelectorAll("input")) field.value = words.get(field.name) ?? "";
    ask();
  });
  stop.addEventListener("click", () => {
    end();
    const state = answer.querySelector(".state");
    if (state) state.textContent = state.textContent.replace("Reckoning:", "Stopped:").replace("are in", "were in");
    else say("Stopped before the first figures came.", "status");
  });
  addEventListener("pagehide", end);
  // What the server did not wait for is reckoned here.
  if (answer.hasAttribute("data-later")) reckon(new URLSearchParams(location.search));
  else if (!answer.hasAttribute("data-asked")) reckon(new URLSearchParams({ cows: form.elements.cows.value }));
}
planFills();
