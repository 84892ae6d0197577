// What is typed or dropped: late changes, receipts, sheets and recordings.
let page = null;

function fragment(text) {
  return [...new DOMParser().parseFromString(text, "text/html").body.childNodes];
}

function put(place, text, bad) {
  const line = document.createElement("p");
  line.className = bad ? "bad" : "";
  line.textContent = text;
  document.getElementById(place).replaceChildren(line);
}

async function shown(place, sending) {
  let answer;
  try {
    answer = await sending;
  } catch (error) {
    put(place, "It was not sent: no network, or it took too long. Try again.", true);
    return null;
  }
  if (answer.headers.get("content-type").startsWith("text/html")) {
    document.getElementById(place).replaceChildren(...fragment(await answer.text()));
    return answer;
  }
  let said = {};
  try {
    said = await answer.json();
  } catch (error) {
    said = { error: `the server says ${answer.status}` };
  }
  if (said.error) put(place, said.error, true);
  return said.error ? null : answer;
}

async function look(data) {
  await shown("meant", page.post("/late/look", data));
  document.querySelector("#meant [data-agree]")?.focus();
}

async function upload(url, data, files, seconds) {
  const names = files.map((file) => file.name).join(", ");
  put("answer", `${names}: being read …`, false);
  document.getElementById("answer").scrollIntoView({ block: "center" });
  await shown("answer", page.send(url, data, { "X-File-Name": encodeURIComponent(files[0].name) }, seconds));
  document.getElementById("answer").scrollIntoView();
}

function compare(file) {
  const asked = new URLSearchParams({ port: document.getElementById("against").value, act: page.act() });
  const pasted = new Blob([document.getElementById("paste").value]);
  if (file) upload(`/compare?${asked}`, file, [file], 60);
  else if (pasted.size) upload(`/compare?${asked}`, pasted, [{ name: "pasted", size: pasted.size }], 60);
  else put("answer", "Choose a file, drop one, or paste rows first.", true);
}

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (form.id === "late") {
    event.preventDefault();
    look({ said: form.said.value });
  } else if (form.id === "compare") {
    event.preventDefault();
    compare(document.getElementById("sheet").files[0]);
  } else if (form.id === "ident") {
    event.preventDefault();
    const files = [...document.getElementById("recording").files];
    files.sort((one, two) => one.name.localeCompare(two.name, undefined, { numeric: true }));
    const head = `${JSON.stringify(files.map((file) => [file.name, file.size]))}\n`;
    const asked = new URLSearchParams({ port: form.port.value, level: form.level.value, act: page.act() });
    if (files.length) upload(`/ident?${asked}`, new Blob([head, ...files]), files, 2400);
    else put("answer", "Choose a recording first.", true);
  }
});

document.addEventListener("click", async (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  const meant = button.closest(".meant");
  if (button.dataset.received || button.dataset.told) {
    const what = [JSON.parse(button.dataset.what)];
    const url = button.dataset.told ? "/told" : "/received";
    try {
      const answer = await page.post(url, { recipient: button.dataset.told || button.dataset.received, what, who: page.who() });
      if (answer.ok) button.disabled = true;
      page.say(answer.ok ? "Written down; everybody sees it." : (await answer.json()).error);
    } catch (error) {
      page.say("No network: it was not sent. Press it again when the network is back.");
    }
  } else if (button.dataset.undo) {
    look({ undoes: Number(button.dataset.undo) });
  } else if (button.hasAttribute("data-leave")) {
    document.getElementById("meant").replaceChildren();
    document.getElementById("said")?.focus();
  } else if (button.hasAttribute("data-agree")) {
    const { said, agreed, undoes } = meant.dataset;
    const data = { said, agreed, undoes: Number(undoes), who: page.who() };
    const answer = await shown("meant", page.post("/late", data));
    if (answer?.ok) {
      document.getElementById("meant").replaceChildren();
      document.getElementById("late").reset();
      page.say("It counts. Everybody is told on their page.");
      document.getElementById("said")?.focus();
    }
  }
});

for (const name of ["dragover", "dragleave", "drop"]) {
  document.addEventListener(name, (event) => {
    if (!document.getElementById("compare")) return;
    event.preventDefault();
    document.body.classList.toggle("dropping", name === "dragover");
    if (name === "drop" && event.dataTransfer.files.length) compare(event.dataTransfer.files[0]);
  });
}

export const forms = {
  shown(given) {
    page = given;
  },
};
