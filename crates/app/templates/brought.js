
// Marks of the walk are shown as they are tapped. Where the network is away they are kept on this phone and sent when it is
// back; each has a name of its own, so that one sent twice counts once.
function broughtMarks() {
  const cows = [...document.querySelectorAll(".bring")];
  const KEPT = "cowpath-brought";
  const read = () => { try { return JSON.parse(localStorage.getItem(KEPT)) || []; } catch { return []; } };
  const write = (all) => { try { localStorage.setItem(KEPT, JSON.stringify(all)); return true; } catch { return false; } };
  const post = (path, data) => fetch(path, {
    method: "POST",
    headers: { "content-type": "application/json" },
    body: JSON.stringify(data ?? {}),
  });
  const form = (action, fields, label, spoken, quiet) => {
    const own = document.createElement("form");
    Object.assign(own, { action, method: "post" });
    for (const [name, value] of Object.entries(fields)) {
      own.append(Object.assign(document.createElement("input"), { type: "hidden", name, value }));
    }
    const button = document.createElement("button");
    button.textContent = label;
    button.setAttribute("aria-label", spoken);
    if (quiet) button.className = "quiet";
    own.append(button);
    return own;
  };
  // Who walks by keys stays with the cow whose button is replaced.
  const fill = (cow, ...parts) => {
    const place = cow.querySelector(".mark-of");
    const held = place.contains(document.activeElement);
    place.replaceChildren(...parts);
    if (held) place.querySelector("button")?.focus();
  };
  const done = (cow, words, fields) => {
    cow.classList.add("brought");
    const said = Object.assign(document.createElement("p"), { className: "marked", textContent: words });
    const animal = cow.dataset.animal;
    fill(cow, said,
      form("/bring-in/undo", { ...fields, animal }, "Take back", `${animal} was not brought: take it back`, true));
  };
  const open = (cow, words) => {
    cow.classList.remove("brought");
    const { animal, since } = cow.dataset;
    const parts = [form("/bring-in/done", { animal, since }, "Brought", `${animal} is brought`)];
    if (words) parts.unshift(Object.assign(document.createElement("p"), { className: "marked", textContent: words }));
    fill(cow, ...parts);
  };
  const of = (data) => cows.find((cow) => cow.dataset.animal === data.animal && cow.dataset.since === data.since);
  const WAITS = "Brought; kept on this phone until the farm can be reached.";
  const send = async (data) => {
    const response = await post("/api/bring-in/done", data);
    const answer = await response.json();
    write(read().filter((one) => one.sent_as !== data.sent_as));
    const cow = of(data);
    if (!cow) return;
    if (response.ok) done(cow, answer.words, { id: answer.id });
    else open(cow, `${answer.happened} ${answer.do}`);
  };
  let sending = false;
  const again = async () => {
    if (sending) return;
    sending = true;
    try { for (const data of read()) await send(data); } catch { /* The network is away: later. */ }
    sending = false;
  };
  document.addEventListener("submit", async (event) => {
    const action = event.target.getAttribute("action");
    const cow = event.target.closest(".bring");
    if (!cow || !["/bring-in/done", "/bring-in/undo"].includes(action)) return;
    const data = Object.fromEntries(new FormData(event.target));
    if (action === "/bring-in/undo") {
      event.preventDefault();
      if (data.sent_as) {
        write(read().filter((one) => one.sent_as !== data.sent_as));
        open(cow);
      } else {
        try {
          const response = await post(`/api/bring-in/${data.id}/undo`);
          open(cow, response.ok || response.status === 400 ? "" : "It could not be taken back; look at the list again.");
        } catch {
          const said = cow.querySelector(".marked");
          said.textContent = "The farm cannot be reached: take it back when the network is there.";
        }
      }
    } else {
      data.sent_as = `${Date.now().toString(36)}-${Math.random().toString(36).slice(2)}`;
      // A phone that keeps nothing sends it the plain way.
      if (!write([...read(), data])) return;
      event.preventDefault();
      done(cow, WAITS, { sent_as: data.sent_as });
      try { await send(data); } catch { /* It is kept, and sent later. */ }
    }
  });
  for (const data of read()) {
    const cow = of(data);
    if (cow) done(cow, WAITS, { sent_as: data.sent_as });
  }
  addEventListener("online", again);
  if (read().length) again();
  setInterval(() => { if (read().length) again(); }, 30000);
}
