// The line check: what is ticked here is shown at once, kept until it is sent, and sent until the server has it.
const SIGNS = { arrived: "✓", dead: "✕", wrong: "≠", noisy: "≈", swapped: "⇄", "": "·", conflict: "?!" };
const ticks = new Map(); // id → tick
const cells = new Map(); // "channel\nat" → ids
const answered = new Set(); // "channel\nat\nid"
const mine = []; // what can be undone here: { id, channel, at, before }
let walks = {}; // act → channel → where to walk
let known = false; // whether all that was ticked is here
let page = null;
let queue = null;
let current = "";
let sending = false;
let pause = 0;

const key = (channel, at) => `${channel}\n${at}`;
const find = (id) => document.getElementById(id);

// What was ticked

function add(tick) {
  const cell = key(tick.channel, tick.at);
  const known = ticks.get(tick.id);
  ticks.set(tick.id, known && !tick.when ? known : tick);
  if (known) return;
  if (!cells.has(cell)) cells.set(cell, []);
  cells.get(cell).push(tick.id);
  for (const id of tick.sees || []) answered.add(`${cell}\n${id}`);
}

function standing(channel, at) {
  const cell = key(channel, at);
  const all = (cells.get(cell) || []).filter((id) => !answered.has(`${cell}\n${id}`)).map((id) => ticks.get(id));
  const order = (one) => `${one.when || "~"} ${one.id}`; // as they were written, what is not sent yet last
  return all.sort((one, two) => (order(one) < order(two) ? -1 : 1));
}

function said(channel, at) {
  const all = standing(channel, at);
  const different = new Set(all.map((tick) => `${tick.result}\n${tick.other || ""}`));
  return different.size > 1 ? "conflict" : all.length ? all[0].result : "";
}

// What waits to be sent

function load() {
  if (queue) return;
  queue = page.kept("tick ").map((text) => JSON.parse(text)).sort((one, two) => (one.made < two.made ? -1 : 1));
  queue.forEach(add);
}

function remove(done) {
  for (const id of done) page.keep(`tick ${id}`, null);
  queue = queue.filter((tick) => !done.has(tick.id));
}

// What was refused stands nowhere.
function forget(id) {
  const tick = ticks.get(id);
  if (!tick || tick.when) return;
  ticks.delete(id);
  const cell = key(tick.channel, tick.at);
  cells.set(cell, cells.get(cell).filter((one) => one !== id));
  for (const seen of tick.sees || []) answered.delete(`${cell}\n${seen}`);
}

// As many as one message may hold.
function nextBatch() {
  const batch = [];
  let size = 0;
  for (const tick of queue.slice(0, 100)) {
    size += new TextEncoder().encode(JSON.stringify(tick)).length + 1;
    if (batch.length && size > 48000) break;
    batch.push(tick);
  }
  return batch;
}

async function flush() {
  load();
  if (sending || !queue.length) return;
  sending = true;
  try {
    const answer = await page.post("/ticks", { ticks: nextBatch() });
    if (answer.ok) {
      const { kept, refused } = await answer.json();
      remove(new Set([...kept, ...Object.keys(refused)]));
      for (const [id, text] of Object.entries(refused)) {
        forget(id);
        page.say(`A tick was refused: ${text}`);
      }
      pause = 0;
    } else if (answer.status === 403) {
      page.say("Your link does not let you tick any more; what you ticked is kept here. Scan the code again.");
      pause = 15000;
    } else {
      page.say(`It could not be written (${(await answer.text()).slice(0, 200)}); it is kept here and sent again.`);
      pause = Math.min(5000, 2 * pause + 500);
    }
  } catch (error) {
    pause = Math.min(5000, 2 * pause + 500); // no network: it stays in the queue
  }
  sending = false;
  page.wait(queue.length);
  draw();
  if (queue.length) setTimeout(flush, pause);
}

function id() {
  return [...crypto.getRandomValues(new Uint8Array(16))].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}

function tick(channel, at, result, other, note, undoing) {
  const before = standing(channel, at);
  const made = { id: id(), channel, at, result, made: new Date().toISOString(), sees: before.map((one) => one.id).slice(-32) };
  const place = cellOf(channel, at)?.dataset.place;
  if (other) made.other = other;
  if (note) made.note = note;
  if (page.who()) made.who = page.who();
  if (place) made.place = place;
  if (!undoing) mine.push({ id: made.id, channel, at, before: before.length === 1 ? before[0] : null });
  add(made);
  queue.push(made);
  page.keep(`tick ${made.id}`, JSON.stringify(made));
  page.wait(queue.length);
  draw();
  flush();
}

function undo() {
  const last = mine.pop();
  if (!last) return page.say("There is nothing of yours to undo.");
  const now = standing(last.channel, last.at);
  const name = rowOf(last.channel)?.dataset.name || last.channel;
  if (now.length !== 1 || now[0].id !== last.id) return page.say(`${name}: somebody has ticked it since, so it stays.`);
  const { result = "", other, note } = last.before || {};
  tick(last.channel, last.at, result, other, note, true);
  show(last.channel);
  page.say(`Undone: ${name}.`);
}

// What is shown

const rows = () => [...document.querySelectorAll("#check tbody")];
const rowOf = (channel) => rows().find((row) => row.dataset.channel === channel);
const cellOf = (channel, at) => [...(rowOf(channel)?.querySelectorAll("td[data-at]") || [])].find((td) => td.dataset.at === at);
const destination = () => find("listen")?.value || "";
const nameOf = (at) => [...find("listen").options].find((one) => one.value === at)?.textContent || at;

// Where a channel stood when it was ticked, if that is not where it stands now.
function movedFrom(channel, td) {
  return standing(channel, td.dataset.at).find((one) => one.result && one.place && one.place !== td.dataset.place)?.place || "";
}

const walkOf = (channel) => walks[page.act()]?.[channel] || "";

function words(tick) {
  const other = tick.other ? ` with ${rowOf(tick.other)?.dataset.name || tick.other}` : "";
  const said = tick.result ? tick.result + other : tick.note ? "note" : "taken back";
  const time = new Date(tick.made || tick.when).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
  return `${said}${tick.note ? `: ${tick.note}` : ""} (${tick.who || "no name"}, ${time}${tick.when ? "" : ", not sent yet"})`;
}

function draw() {
  if (!find("check")) return;
  const waits = new Set(queue.map((one) => key(one.channel, one.at)));
  for (const row of rows()) {
    const channel = row.dataset.channel;
    for (const td of row.querySelectorAll("td[data-place]")) {
      const at = td.dataset.at;
      if (!known && !cells.has(key(channel, at))) continue; // as the server wrote it
      const result = said(channel, at);
      const button = td.firstElementChild;
      const all = standing(channel, at);
      const moved = movedFrom(channel, td);
      const text = SIGNS[result] + (all.some((one) => one.note) ? " ✎" : "");
      if (button.textContent !== text) button.textContent = text;
      button.dataset.said = result;
      button.classList.toggle("waiting", waits.has(key(channel, at)));
      button.classList.toggle("moved", Boolean(moved));
      const about = result === "conflict" ? `in dispute: ${all.map(words).join("; ")}` : all.length ? all.map(words).join("; ") : "not ticked";
      const since = moved ? `; ticked when it stood at ${moved}, check it again` : "";
      const label = `${row.dataset.name} at ${nameOf(at)}: ${about}${since}`;
      if (button.getAttribute("aria-label") !== label) button.setAttribute("aria-label", label);
      button.title = about + since;
    }
    const walk = row.querySelector("tr.walk");
    if (!known) continue;
    walk.hidden = !walkOf(channel);
    walk.lastElementChild.textContent = walkOf(channel);
  }
  drawCard();
}

function listed() {
  const at = destination();
  return rows().filter((row) => [...row.querySelectorAll("td[data-place]")].some((td) => td.dataset.at === at));
}

function drawCard() {
  const at = destination();
  const table = find("check");
  table.classList.toggle("one", Boolean(at));
  table.querySelectorAll("[data-at]").forEach((one) => one.classList.toggle("mine", one.dataset.at === at));
  const card = find("card");
  card.hidden = !at || page.role === "look";
  rows().forEach((row) => row.classList.toggle("now", !card.hidden && row.dataset.channel === current));
  if (card.hidden) return;
  const list = listed();
  if (!rowOf(current)) current = list[0]?.dataset.channel || "";
  const row = rowOf(current);
  const cell = cellOf(current, at);
  const number = list.indexOf(row);
  const done = list.filter((one) => said(one.dataset.channel, at) === "arrived" && !movedFrom(one.dataset.channel, cellOf(one.dataset.channel, at))).length;
  find("card-at").textContent = `${number < 0 ? "–" : number + 1} of ${list.length}, ${done} arrived`;
  find("card-name").textContent = row?.dataset.name || "";
  const place = cell?.dataset.slot ? `${nameOf(at)} ${cell.dataset.slot}` : `not planned at ${nameOf(at)}`;
  find("card-where").textContent = row ? `${row.dataset.socket || "no socket"} → ${place}` : "";
  const all = standing(current, at);
  find("card-said").textContent = all.length > 1 && said(current, at) === "conflict" ? `In dispute: ${all.map(words).join("; ")}` : all.map(words).join("; ");
  find("card-walk").textContent = walkOf(current);
  for (const button of find("card-buttons").children) {
    button.disabled = !cell?.dataset.place;
    button.setAttribute("aria-pressed", String(said(current, at) === button.dataset.result));
  }
}

function show(channel) {
  current = channel;
  if (find("card-note") && document.activeElement !== find("card-note")) find("card-note").value = "";
  draw();
  if (find("read-out")?.checked) page.post("/reading", { channel }).catch(() => page.say("No network: nobody hears what you read out."));
}

function turn(step) {
  const list = listed();
  if (!list.length) return;
  const at = list.findIndex((row) => row.dataset.channel === current);
  show(list[(Math.max(at, 0) + step + list.length) % list.length].dataset.channel);
}

// The question for one cell

function ask(channel, at, result) {
  const dialog = find("ask");
  const row = rowOf(channel);
  const all = standing(channel, at);
  const make = (name, more, ...inside) => {
    const made = Object.assign(document.createElement(name), more);
    made.append(...inside);
    return made;
  };
  const title = make("h2", { id: "ask-title" }, `${row.dataset.name} at ${nameOf(at)}`);
  const about = make("p", {}, `${row.dataset.socket} → slot ${cellOf(channel, at).dataset.slot}`);
  const told = make("ul", {}, ...all.map((one) => make("li", {}, words(one))));
  const note = make("input", { id: "ask-note", maxLength: 200, value: all.length === 1 ? all[0].note || "" : "" });
  const other = make("select", { id: "ask-other" }, make("option", { value: "" }, "choose a channel"));
  for (const one of rows()) {
    if (one.dataset.channel !== channel) other.append(make("option", { value: one.dataset.channel }, `${one.dataset.name} (${one.dataset.socket})`));
  }
  const done = (chosen) => {
    if (chosen === "swapped" && !other.value) {
      other.focus();
      return page.say("Say with which channel it is swapped.");
    }
    dialog.close();
    tick(channel, at, chosen, chosen === "swapped" ? other.value : "", note.value.trim());
  };
  const buttons = make("div", { className: "big" });
  for (const [name, sign] of Object.entries(SIGNS)) {
    if (!name || name === "conflict") continue;
    const button = make("button", { type: "button" }, `${sign} ${name}`);
    button.dataset.result = name;
    button.addEventListener("click", () => done(name));
    buttons.append(button);
  }
  const back = make("button", { type: "button", onclick: () => done("") }, all.some((one) => one.result) ? "Take back" : "Note only");
  const close = make("button", { type: "button", onclick: () => dialog.close() }, "Close");
  dialog.replaceChildren(
    title, about, told, buttons,
    make("p", { className: "field" }, make("label", { htmlFor: "ask-other" }, "Swapped with"), other),
    make("p", { className: "field" }, make("label", { htmlFor: "ask-note" }, "Note"), note),
    make("p", {}, back, " ", close),
  );
  dialog.showModal();
  (result === "swapped" ? other : buttons.firstElementChild).focus();
}

document.addEventListener("click", (event) => {
  const button = event.target.closest("main button");
  if (!button || !find("check")) return;
  const cell = button.closest("td[data-place]");
  const at = destination();
  if (cell) ask(cell.closest("[data-channel]").dataset.channel, cell.dataset.at);
  else if (button.dataset.result === "swapped") ask(current, at, "swapped");
  else if (button.dataset.result) {
    tick(current, at, button.dataset.result, "", find("card-note").value.trim());
    find("card-note").value = "";
    const follows = find("follow").checked && !find("read-out").checked && reader;
    if (button.dataset.result === "arrived" && !follows) turn(1);
  } else if (button.id === "card-keep" && find("card-note").value.trim()) {
    const now = standing(current, at);
    const one = now.length === 1 ? now[0] : {};
    tick(current, at, one.result || "", one.other, find("card-note").value.trim());
    find("card-note").value = "";
  } else if (button.id === "next") turn(1);
  else if (button.id === "back") turn(-1);
  else if (button.id === "undo") undo();
});
document.addEventListener("change", (event) => {
  if (event.target.id === "who") {
    page.keep("who", event.target.value.trim());
    page.called();
  } else if (event.target.id === "listen") {
    page.keep("listen", event.target.value);
    draw();
    find("card").scrollIntoView();
  } else if (event.target.id === "read-out") {
    if (event.target.checked) show(current);
    else page.post("/reading", { channel: "" }).catch(() => page.say("No network."));
  } else if (event.target.id === "follow" && event.target.checked && reader) show(reader);
});

window.addEventListener("storage", (event) => {
  if (!queue || !event.key || !event.key.includes(" tick ")) return; // another page of this browser has sent one, or keeps one
  if (event.newValue === null) queue = queue.filter((tick) => !event.key.endsWith(` ${tick.id}`));
  page.wait(queue.length);
  draw();
});

let reader = "";

// The worker keeps the newest answer for a reload without network.
let clock = 0;
function later() {
  clearTimeout(clock);
  clock = setTimeout(() => fetch("/ticks").catch(() => draw()), 2000);
}

export const line = {
  shown(given) {
    page = given;
    load();
    page.wait(queue.length);
    flush();
    if (!find("check")) return;
    const kept = page.keep("listen");
    if (kept && [...find("listen").options].some((one) => one.value === kept)) find("listen").value = kept;
    draw();
  },
  told(data, given) {
    page = given || page;
    data.ticks.forEach(add);
    for (const [act, texts] of Object.entries(data.walk)) walks[act] = { ...walks[act], ...texts };
    if (page.lasting) later();
    draw();
  },
  async resync(given) {
    page = given;
    load();
    flush();
    try {
      const answer = await fetch("/ticks");
      if (!answer.ok) return;
      const data = await answer.json();
      walks = {};
      known = true;
      line.told(data);
      line.read(data.reading, page);
    } catch (error) {
      page.say("No network: what others tick is not seen here now.");
    }
  },
  read({ channel, name }, given) {
    page = given;
    reader = channel;
    if (!channel || !find("follow")?.checked || find("read-out").checked || channel === current) return;
    if (rowOf(channel)) show(channel);
    else page.say(`Read out now: ${name}. It is not in this act; choose the act above.`);
  },
  flush,
};
