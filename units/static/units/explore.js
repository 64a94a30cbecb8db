// Interactive charts on demand: loads the chart library once, draws in the page's colours, needs no eval.
const bundle = document.currentScript.dataset.bundle;
const QUIETLY = { ast: true, renderer: "svg", actions: false, defaultStyle: false, tooltip: { disableDefaultStyle: true } };
let loading;

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

async function explore(button) {
  const figure = button.closest("figure");
  button.disabled = true;
  try {
    const [answer] = await Promise.all([fetch(button.dataset.live), library()]);
    if (!answer.ok) throw new Error("the chart's data did not load");
    const { spec, inks } = await answer.json();
    const place = document.createElement("div");
    place.className = "chart__live";
    figure.querySelector(".chart__draw").replaceWith(place);
    await vegaEmbed(place, JSON.parse(inPageColours(JSON.stringify(spec), inks)), QUIETLY);
    button.replaceWith("Point at a mark for its figures; drag to move, scroll to zoom, click a legend entry to single it out (shift for more).");
  } catch (error) {
    button.replaceWith(`Not available: ${error.message}. The picture and its table hold the same figures.`);
  }
}

document.documentElement.classList.add("js"); // the buttons show only where they work
document.addEventListener("click", (event) => {
  const button = event.target.closest("button[data-live]");
  if (button) explore(button);
});
