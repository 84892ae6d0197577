// The page as a whole: goes from view to view, follows the show as it changes, and says when the network is away.
import { line } from "./line.js";
import { forms } from "./forms.js";

const main = () => document.getElementById("main");
const parts = { line, forms };
let source = null;
let waiting = 0;
let ended = false;
const lasting = Boolean(window.isSecureContext && navigator.serviceWorker); // a reload opens the page without network

const page = {
  role: document.body.dataset.role,
  say(text) {
    document.getElementById("said-now").textContent = text;
  },
  wait(count) {
    waiting = count;
    state();
  },
  who() {
    return keep("who") || "";
  },
  keep,
  kept,
  lasting,
  act: () => new URL(location.href).searchParams.get("act") || "",
  called: () => called(),
  post: (url, data) => send(url, JSON.stringify(data), { "Content-Type": "application/json" }),
  send,
};

// What is kept in this browser, for this show: read without a value, removed with null.
const keyOf = (name) => `chanbridge ${document.body.dataset.show} ${name}`;

function keep(name, value) {
  try {
    if (value === undefined) return localStorage.getItem(keyOf(name));
    if (value === null) localStorage.removeItem(keyOf(name));
    else localStorage.setItem(keyOf(name), value);
  } catch (error) {
    page.say("This browser keeps nothing: do not close the page before the network is back.");
  }
  return value;
}

function kept(start) {
  const begin = keyOf(start);
  try {
    return Object.keys(localStorage).filter((key) => key.startsWith(begin)).map((key) => localStorage.getItem(key));
  } catch (error) {
    return []; // it keeps nothing, as was said when something was to be kept
  }
}

async function send(url, body, headers = {}, seconds = 10) {
  const stop = new AbortController();
  const clock = setTimeout(() => stop.abort(), 1000 * seconds);
  try {
    return await fetch(url, { method: "POST", body, headers, signal: stop.signal });
  } finally {
    clearTimeout(clock);
  }
}

// From view to view

async function go(url, push) {
  let answer;
  try {
    answer = await fetch(url);
  } catch (error) {
    page.say("No network: this cannot be looked up now. What you see is how it was last.");
    return;
  }
  const doc = new DOMParser().parseFromString(await answer.text(), "text/html");
  const since = answer.headers.get("x-kept");
  if (since) page.say(`No network: this is how it was at ${clock(since)}.`);
  if (!doc.getElementById("main")) {
    page.say(answer.status === 403 ? "Your link has ended: scan the code again." : doc.body.textContent);
    return;
  }
  if (push) history.pushState(null, "", url);
  const same = doc.body.dataset.view === document.body.dataset.view && !push;
  swap(doc, same);
  if (push) {
    window.scrollTo(0, 0);
    main().focus();
  }
}

function swap(doc, same) {
  const focused = same ? placeOf(document.activeElement) : null;
  const sides = [...document.querySelectorAll(".scroll, .flow")].map((one) => [one.scrollLeft, one.scrollTop]);
  if (same) {
    for (const kept of document.querySelectorAll("#late, #meant, #compare, #ident, #answer, #card, #who, #listen")) {
      doc.getElementById(kept.id)?.replaceWith(kept);
    }
  }
  for (const id of ["state", "news", "acts", "main"]) {
    const here = document.getElementById(id);
    here.replaceChildren(...doc.getElementById(id).childNodes);
  }
  document.title = doc.title;
  document.body.dataset.view = doc.body.dataset.view;
  document.body.dataset.number = doc.body.dataset.number;
  document.querySelector(".show").replaceChildren(...doc.querySelector(".show").childNodes);
  document.getElementById("find-act").value = doc.getElementById("find-act").value;
  const links = document.querySelectorAll("#views a");
  doc.querySelectorAll("#views a").forEach((one, at) => {
    links[at].href = one.getAttribute("href");
    if (one.hasAttribute("aria-current")) links[at].setAttribute("aria-current", "page");
    else links[at].removeAttribute("aria-current");
  });
  document.querySelectorAll(".scroll, .flow").forEach((one, at) => sides[at] && same && one.scrollTo(...sides[at]));
  for (const part of Object.values(parts)) part.shown(page);
  called();
  times();
  if (focused) document.querySelector(focused)?.focus({ preventScroll: true });
}

function placeOf(element) {
  if (!element || !main().contains(element)) return null;
  if (element.id) return `#${CSS.escape(element.id)}`;
  const cell = element.closest("[data-channel] [data-at]");
  if (cell) {
    const channel = CSS.escape(cell.closest("[data-channel]").dataset.channel);
    return `[data-channel="${channel}"] [data-at="${CSS.escape(cell.dataset.at)}"] button`;
  }
  return element.href ? `main a[href="${CSS.escape(element.getAttribute("href"))}"]` : null;
}

document.addEventListener("click", (event) => {
  const link = event.target.closest("a[href^='/?']");
  if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button) return;
  event.preventDefault();
  go(link.href, true);
});
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.method !== "get" || form.id) return;
  event.preventDefault();
  go(`/?${new URLSearchParams(new FormData(form))}`, true);
});
document.addEventListener("change", (event) => event.target.closest("form[data-go]")?.requestSubmit());
window.addEventListener("popstate", () => go(location.href, false));

// Who it is: typed once, kept here

function called() {
  const button = document.getElementById("name");
  if (button) button.textContent = page.who() || "Your name?";
  const field = document.getElementById("who");
  if (field && document.activeElement !== field) field.value = page.who();
}

document.getElementById("name")?.addEventListener("click", () => {
  const dialog = document.getElementById("ask");
  const title = Object.assign(document.createElement("h2"), { id: "ask-title", textContent: "Your name" });
  const form = Object.assign(document.createElement("form"), { className: "stack", id: "naming" });
  const label = Object.assign(document.createElement("label"), { htmlFor: "naming-who", textContent: "It stands beside what you tick and say" });
  const input = Object.assign(document.createElement("input"), { id: "naming-who", maxLength: 40, value: page.who(), autocomplete: "nickname" });
  form.append(label, input, Object.assign(document.createElement("button"), { textContent: "That is me" }));
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    keep("who", input.value.trim());
    called();
    dialog.close();
  });
  dialog.replaceChildren(title, form);
  dialog.showModal();
  input.focus();
});

// Times of the server as the clock here shows them

function clock(time) {
  return new Date(time).toLocaleTimeString([], { hour: "2-digit", minute: "2-digit", hour12: false });
}

function times() {
  for (const one of document.querySelectorAll("time:not([data-local])")) {
    one.dataset.local = "";
    one.textContent = clock(one.dateTime);
  }
}

// As the show changes

function state() {
  const line = document.getElementById("link");
  const live = source && source.readyState === EventSource.OPEN && navigator.onLine;
  const kept = waiting ? `${waiting} ${waiting === 1 ? "tick waits" : "ticks wait"} here and will be sent` : "";
  line.className = live && !waiting ? "" : "away";
  const text = ended ? "Your link has ended: scan the code again" : live ? kept || "live" : `No network. ${kept}`.trim();
  if (line.textContent !== text) line.textContent = text;
  const away = document.getElementById("away");
  away.hidden = live || ended || lasting;
  away.textContent = away.hidden
    ? ""
    : "Leave this page open: over this link a browser cannot open it again before the network is back. What you tick is kept in this browser all the same, and is sent once the page is open with network.";
}

window.addEventListener("beforeunload", (event) => {
  if (waiting && !lasting) event.preventDefault(); // the browser asks whether to leave
});

let timer = 0;
function refresh() {
  clearTimeout(timer);
  timer = setTimeout(() => go(location.href, false), 60);
}

function listen() {
  source = new EventSource("/events");
  source.addEventListener("open", () => {
    state();
    line.resync(page);
  });
  source.addEventListener("hello", (event) => {
    if (event.data !== document.body.dataset.number) refresh();
  });
  source.addEventListener("show", refresh);
  source.addEventListener("papers", () => document.body.dataset.view === "papers" && refresh());
  source.addEventListener("ticks", (event) => line.told(JSON.parse(event.data), page));
  source.addEventListener("reading", (event) => line.read(JSON.parse(event.data), page));
  source.addEventListener("trouble", (event) => page.say(JSON.parse(event.data).text));
  source.addEventListener("error", async () => {
    state();
    if (source.readyState !== EventSource.CLOSED) return;
    try {
      ended = (await fetch("/static/icon.svg")).status === 403;
    } catch (error) {
      ended = false;
    }
    state();
    if (!ended) setTimeout(listen, 2000);
  });
}

window.addEventListener("offline", state);
window.addEventListener("online", () => {
  state();
  line.flush(page);
});

const here = new URL(location.href);
if (here.searchParams.has("key")) {
  here.searchParams.delete("key");
  history.replaceState(null, "", here);
}
for (const part of Object.values(parts)) part.shown(page);
called();
times();
state();
listen();
if (lasting) {
  line.resync(page); // what was kept, where there is no network
  const watching = new Promise((done) => {
    if (navigator.serviceWorker.controller) done();
    else navigator.serviceWorker.addEventListener("controllerchange", done, { once: true });
  });
  navigator.serviceWorker
    .register("/worker.js")
    .then(() => watching)
    .then(() => Promise.all([location.href, "/?view=line", "/ticks"].map((url) => fetch(url)))) // so that they are kept
    .catch(() => page.say("This browser keeps no page: without network a reload does not open it again."));
}
