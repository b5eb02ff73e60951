
// The Plan page: the answer fills while it is reckoned. Without this script the form asks for a smaller answer at once.
function planFills() {
  const form = document.querySelector("form#plan");
  const answer = document.querySelector("#answer");
  if (!form || !answer || !window.EventSource) return;
  const stop = form.querySelector("#stop");
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
      const open = answer.querySelector("details")?.open ?? false;
      answer.innerHTML = event.data;
      const details = answer.querySelector("details");
      if (details) details.open = open;
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
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    const words = new URLSearchParams(new FormData(form));
    for (const [name, value] of [...words]) if (!value.trim()) words.delete(name);
    history.replaceState(null, "", `/plan?${words}`);
    reckon(words);
    scrollTo({ top: 0 });
  });
  stop.addEventListener("click", end);
  addEventListener("pagehide", end);
  if (!answer.hasAttribute("data-asked")) reckon(new URLSearchParams({ cows: form.elements.cows.value }));
}
planFills();
