// Charts and tables of a page as one: what is pointed at, clicked or chosen by its button in one stands out in all.
// A picture's marks carry data-row, data-unit and data-point; the words of a mark are its row of the table behind.
const page = document.querySelector("[data-link]");
const by = page?.dataset.link; // "unit", or "point" where the page is of one unit
const chosen = new Set();
const sheet = new CSSStyleSheet();
const words = document.createElement("div");
let pointed = null;

function keyOf(element) {
  return element.dataset[by] || null;
}

function rule(keys) {
  if (!keys.length) return "";
  const is = keys.map((key) => `[data-${by}="${CSS.escape(key)}"]`);
  const others = is.map((each) => `:not(${each})`).join("");
  return `@media screen { .chart svg [data-${by}]${others} { opacity: .1 } tr:is(${is}) > * { background: var(--accent-soft) } }`;
}

function show() {
  const keys = pointed ? [pointed] : [...chosen];
  sheet.replaceSync(rule(keys));
  document.dispatchEvent(new CustomEvent("single-out", { detail: { keys, by } }));
}

function choose(key) {
  if (!key) return;
  chosen.has(key) ? chosen.delete(key) : chosen.add(key);
  for (const button of page.querySelectorAll("button[data-single]")) button.setAttribute("aria-pressed", chosen.has(button.dataset.single));
  show();
}

function point(key) {
  if (key === pointed) return;
  pointed = key;
  show();
}

function say(mark, event) {
  const table = mark?.closest("figure.chart")?.querySelector("table.data");
  const row = mark?.dataset.row && table?.tBodies[0].rows[mark.dataset.row];
  words.hidden = !row;
  if (!row) return;
  const said = [...row.cells].map((cell, n) => [table.tHead.rows[0].cells[n].textContent, cell.textContent]).filter(([, text]) => text);
  words.replaceChildren(...said.map(([title, text]) => Object.assign(document.createElement("div"), { textContent: `${title}: ${text}` })));
  const place = words.getBoundingClientRect();
  words.style.left = `${Math.max(4, Math.min(event.clientX + 14, innerWidth - place.width - 8))}px`;
  words.style.top = `${event.clientY + place.height + 20 > innerHeight ? event.clientY - place.height - 12 : event.clientY + 16}px`;
}

if (page) {
  document.adoptedStyleSheets.push(sheet);
  words.className = "mark-words";
  words.hidden = true;
  document.body.append(words);
  document.addEventListener("pointerover", (event) => {
    if (event.target.closest(".chart__live")) return; // it tells by itself
    const mark = event.target.closest(".chart svg [data-unit]");
    point(mark ? keyOf(mark) : null);
    say(mark, event);
  });
  document.addEventListener("click", (event) => {
    const button = event.target.closest("button[data-single], button[data-single-none]");
    if (button && "singleNone" in button.dataset) [...chosen].forEach(choose);
    else choose(button ? button.dataset.single : keyOf(event.target.closest(".chart svg [data-unit]") ?? page));
  });
  document.addEventListener("keydown", (event) => {
    if (event.key !== "Escape") return;
    [...chosen].forEach(choose);
    words.hidden = true;
  });
  document.addEventListener("mark", (event) => (event.detail.clicked ? choose(event.detail.datum?.[by]) : point(event.detail.datum?.[by] ?? null)));
}
