// Charts to zoom into, on demand: loads the chart library once, draws in the page's colours, needs no eval.
const bundle = document.currentScript.dataset.bundle;
const QUIETLY = { ast: true, renderer: "svg", actions: false, defaultStyle: false, tooltip: { disableDefaultStyle: true } };
const HINT = "Drag to move, scroll to zoom, double click to see all again; or use the buttons.";
const STEPS = [ // what a button says, does in words, and does: how much wider the span gets, how far it goes across and up
  ["+", "Zoom in", 0.5, 0, 0], ["−", "Zoom out", 2, 0, 0],
  ["←", "Move left", 1, -0.25, 0], ["→", "Move right", 1, 0.25, 0],
  ["↑", "Move up", 1, 0, 0.25], ["↓", "Move down", 1, 0, -0.25],
];
const NUMBER = new Intl.NumberFormat("en-GB", { maximumSignificantDigits: 4 });
const STAMP = new Intl.DateTimeFormat("en-GB", { timeZone: "UTC", day: "numeric", month: "short", hour: "2-digit", minute: "2-digit" });
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

function parts(spec) {
  return [spec, ...(spec.marks ?? []).flatMap(parts)];
}

// The axes that zoom: a scale whose domain follows a selection, and the signal that sets this domain.
function zoomed(vega) {
  const axes = parts(vega).flatMap((part) => part.axes ?? []);
  return vega.scales.flatMap(({ name, type, domainRaw }) => {
    const bound = domainRaw?.signal?.match(/^(\w+)\["(.+)"\]$/);
    if (!bound) return [];
    const { title = "", encode = {} } = axes.find((axis) => axis.scale === name && axis.title) ?? {};
    const isShare = JSON.stringify(encode).includes("* 100"); // a share of one whose labels say per cent
    return [{ name, title: [title].flat().join(" "), isShare, isTime: type === "utc" || type === "time", isUp: name === "y", signal: `${bound[1]}_${bound[2].replace(/\W/g, "_")}` }];
  });
}

function shown(view, axes) {
  return axes.map(({ name, title, isTime, isShare }) => {
    const [low, high] = view.scale(name).domain().map((end) => (isTime ? STAMP.format(end) : NUMBER.format(isShare ? 100 * end : end)));
    return `${title}: ${low} to ${high}`;
  }).join("; ");
}

// Buttons for what the mouse does by dragging and scrolling; each says what is seen then.
function zoomButtons(view, axes, title, said) {
  const group = Object.assign(document.createElement("span"), { className: "chart__tools", role: "group", ariaLabel: `Zoom and move ${title}` });
  const add = (text, words, act) => {
    const button = Object.assign(document.createElement("button"), { type: "button", className: "button button--quiet button--small", textContent: text, title: words, ariaLabel: words });
    button.addEventListener("click", async () => {
      act();
      await view.runAsync();
      said.textContent = shown(view, axes);
    });
    group.append(button);
  };
  const set = (wider, across, up) => axes.forEach(({ name, signal, isUp }) => {
    const [low, high] = view.scale(name).domain().map(Number);
    const middle = (low + high) / 2 + (isUp ? up : across) * (high - low), half = (wider * (high - low)) / 2;
    view.signal(signal, [middle - half, middle + half]);
  });
  const isFlat = !axes.some(({ isUp }) => isUp);
  STEPS.filter(([, , , , up]) => !(up && isFlat)).forEach(([text, words, ...step]) => add(text, words, () => set(...step)));
  add("All", "Show all again", () => axes.forEach(({ signal }) => view.signal(signal, null)));
  return group;
}

async function live(figure, button) {
  const [answer] = await Promise.all([fetch(button.dataset.live), library()]);
  if (!answer.ok) throw new Error("the chart's data did not load");
  const { spec, inks } = await answer.json();
  spec.datasets = Object.fromEntries(Object.entries(spec.datasets).map(([name, table]) => [name, rowsOf(table)]));
  const picture = figure.querySelector(".chart__draw");
  const place = document.createElement("div");
  Object.assign(place, { className: "chart__live", role: "img", ariaLabel: picture.ariaLabel });
  picture.after(place);
  const { view, vgSpec } = await vegaEmbed(place, JSON.parse(inPageColours(JSON.stringify(spec), inks)), QUIETLY);
  place.querySelector("svg").ariaHidden = "true"; // its parts say nothing that the table does not
  picture.hidden = true;
  if (spec.params?.some(({ name }) => name === "single")) linked(view); // a published chart stands alone
  const leave = () => {
    views.delete(view);
    view.finalize();
    place.remove();
    picture.hidden = false;
  };
  return { view, axes: zoomed(vgSpec), leave };
}

async function explore(button) {
  const figure = button.closest("figure");
  const back = document.createElement("button");
  Object.assign(back, { type: "button", className: button.className, textContent: "Back to the picture" });
  const hint = Object.assign(document.createElement("span"), { className: "muted", role: "status", textContent: HINT });
  button.disabled = true;
  try {
    const { view, axes, leave } = await live(figure, button);
    const buttons = zoomButtons(view, axes, figure.querySelector("figcaption > :first-child").textContent, hint);
    button.replaceWith(back);
    back.after(buttons, hint);
    back.focus();
    back.addEventListener("click", () => {
      leave();
      buttons.remove();
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
