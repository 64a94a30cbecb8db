// Sends dropped or chosen files in parts, so that a broken line costs one part; without this script the form posts them whole.
"use strict";

document.querySelectorAll("form[data-upload]").forEach((form) => {
  const input = form.querySelector('input[type="file"]');
  const list = form.querySelector(".uploads");
  const button = form.querySelector("button");
  const token = form.querySelector('[name="csrfmiddlewaretoken"]').value;

  ["dragover", "dragleave", "drop"].forEach((kind) => form.addEventListener(kind, (event) => {
    event.preventDefault();
    form.classList.toggle("drop--over", kind === "dragover");
    if (kind === "drop") { input.files = event.dataTransfer.files; start(); }
  }));
  form.addEventListener("submit", (event) => { if (input.files.length) { event.preventDefault(); start(); } });

  async function start() {
    button.disabled = true;
    list.replaceChildren();
    const outcomes = [];
    for (const file of input.files) { outcomes.push(await send(file)); }
    button.disabled = false;
    if (outcomes.every(Boolean)) { window.location.assign(form.dataset.done); }
    else if (outcomes.some(Boolean)) { list.append(link()); }
  }

  function link() {
    const item = document.createElement("li"), anchor = document.createElement("a");
    anchor.href = form.dataset.done;
    anchor.textContent = "Show the files that were read";
    item.append(anchor);
    return item;
  }

  function row(file) {
    const item = document.createElement("li"), bar = document.createElement("progress"), state = document.createElement("span");
    item.append(file.name, state, bar);
    bar.max = file.size;
    bar.setAttribute("aria-label", `Upload of ${file.name}`);
    list.append(item);
    return {
      at(bytes) { bar.value = bytes; state.textContent = `${Math.floor(100 * bytes / Math.max(file.size, 1))} %`; },
      say(text) { state.textContent = text; },
      refuse(text) {
        bar.remove();
        const sentence = document.createElement("p");
        sentence.className = "wrong";
        sentence.setAttribute("role", "alert");
        sentence.textContent = text;
        item.append(sentence);
      },
    };
  }

  async function send(file) {
    const shown = row(file);
    try {
      let at = await post(form.dataset.upload, new URLSearchParams({ name: file.name, size_bytes: file.size }));
      shown.at(at.received);
      while (at.received < at.size) {
        const part = file.slice(at.received, at.received + at.part_bytes);
        at = await withPatience(() => post(`${at.part_url}?offset=${at.received}`, part), shown);
        shown.at(at.received);
      }
      shown.say("reading…");
      const kept = await post(at.finish_url, new URLSearchParams());
      shown.say(kept.is_new ? "read" : "here already; kept once");
      return true;
    } catch (error) {
      shown.refuse(error.message);
      return false;
    }
  }

  async function post(url, body) {
    const response = await fetch(url, { method: "POST", body, headers: { "X-CSRFToken": token, Accept: "application/json" } });
    const said = await response.json().catch(() => ({}));
    if (response.ok) { return said; }
    const error = new Error(sentences(said) || `The server answered ${response.status}.`);
    error.final = true;
    throw error;
  }

  function sentences(said) {
    const errors = Array.isArray(said.errors) ? said.errors : Object.values(said.errors || {}).flat();
    return errors.map((error) => error.sentence || error.message).filter(Boolean).join(" ");
  }

  async function withPatience(work, shown) {
    for (let wait = 1; ; wait = Math.min(2 * wait, 30)) {
      try { return await work(); } catch (error) {
        if (error.final || wait > 16) { throw error.final ? error : new Error("The line is down. Choose the same file again to go on where it stopped."); }
        shown.say(`line is down, trying again in ${wait} s`);
        await new Promise((resolve) => setTimeout(resolve, 1000 * wait));
      }
    }
  }
});
