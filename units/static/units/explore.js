// Charts to zoom into, on demand: loads the chart library once, draws in the page's colours, needs no eval.
const bundle = document.currentScript.dataset.bundle;
const QUIETLY = { ast: true, renderer: "svg", actions: false, defaultStyle: false, tooltip: { disableDefaultStyle: true } };
const HINT = "Drag to move, scroll to zoom, double click to see all again. ";
const views = new Set();
let loading;
let single = { keys: [], by: "unit" };

function library() {
  loading ??= new Promise((done, failed) => {
    const script = document.createElement("script");
    script.src = bundle;
    script.onload = done;
    script.onerror = () => failed(new Error("the chart library did not load"));
    document.head.append(script);
  });
  return loading;
}

function inPageColours(text, inks) {
  const style = getComputedStyle(document.documentElement);
  const resolved = (token) => {
    const value = style.getPropertyValue(token).trim();
    const inner = value.match(/^var\((--[\w-]+)\)$/);
    return inner ? resolved(inner[1]) : value;
  };
  return Object.entries(inks).reduce((spec, [ink, token]) => spec.replaceAll(`"${ink}"`, `"${resolved(token)}"`), text);
}

function rowsOf(table) {
  if (Array.isArray(table)) return table; // a published chart, whose data are frozen as they were
  const { columns, rows } = table;
  return rows.map((row) => Object.fromEntries(row.map((cell, n) => [columns[n], cell])));
}

function follow(view) {
  view.signal("single", single.keys).signal("by", single.by).runAsync();
}

function linked(view) {
  const tell = (clicked) => (event, item) => document.dispatchEvent(new CustomEvent("mark", { detail: { datum: item?.datum, clicked } }));
  view.addEventListener("click", tell(true));
  view.addEventListener("pointerover", tell(false));
  views.add(view);
  follow(view);
}

async function live(figure, button) {
  const [answer] = await Promise.all([fetch(button.dataset.live), library()]);
  if (!answer.ok) throw new Error("the chart's data did not load");
  const { spec, inks } = await answer.json();
  spec.datasets = Object.fromEntries(Object.entries(spec.datasets).map(([name, table]) => [name, rowsOf(table)]));
  const picture = figure.querySelector(".chart__draw");
  const place = document.createElement("div");
  place.className = "chart__live";
  picture.after(place);
  const { view } = await vegaEmbed(place, JSON.parse(inPageColours(JSON.stringify(spec), inks)), QUIETLY);
  picture.hidden = true;
  if (spec.params?.some(({ name }) => name === "single")) linked(view); // a published chart stands alone
  return () => {
    views.delete(view);
    view.finalize();
    place.remove();
    picture.hidden = false;
  };
}

async function explore(button) {
  const figure = button.closest("figure");
  const back = document.createElement("button");
  Object.assign(back, { type: "button", className: button.className, textContent: "Back to the picture" });
  const hint = Object.assign(document.createElement("span"), { className: "muted", role: "status", textContent: HINT });
  button.disabled = true;
  try {
    const leave = await live(figure, button);
    button.replaceWith(back);
    back.after(hint);
    back.focus();
    back.addEventListener("click", () => {
      leave();
      hint.remove();
      back.replaceWith(button);
      button.focus();
    });
  } catch (error) {
    button.replaceWith(`Not available: ${error.message}. The picture and its table hold the same figures.`);
  }
  button.disabled = false;
}

document.documentElement.classList.add("js"); // the buttons show only where they work
document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-live]");
  if (button) explore(button);
});
document.addEventListener("single-out", (event) => {
  single = event.detail;
  views.forEach(follow);
});
