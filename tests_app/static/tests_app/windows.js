// Drags the ends of a window on the timeline; what is dragged stands in the two time fields, which work without this script.
"use strict";

document.querySelectorAll("figure[data-timeline]").forEach((figure) => {
  const plot = figure.querySelector(".chart__draw"), svg = plot?.querySelector("svg");
  const cards = Array.from(document.querySelectorAll("form[data-window]"));
  const bands = Array.from(svg ? svg.querySelectorAll("g.mark-rect") : []).at(-1);
  if (!svg || !cards.length || !bands) { return; }
  const shape = Array.from(bands.querySelectorAll("path")).find((path) => path.getBBox().width > 0);
  const first = cards.find((card) => card.dataset.drawn === "0");
  if (!shape || !first) { return; }

  // Where the picture put one window whose times are known tells where every time is.
  const box = () => shape.getBoundingClientRect();
  const begin = Number(first.dataset.start), end = Number(first.dataset.end);
  const perPixel = () => (end - begin) / box().width;
  const timeAt = (x) => begin + (x - box().left) * perPixel();
  const xAt = (time) => box().left + (time - begin) / perPixel() - plot.getBoundingClientRect().left + plot.scrollLeft;

  plot.classList.add("chart--handles");
  cards.forEach((card) => ["start", "end"].forEach((side) => addHandle(card, side)));

  function addHandle(card, side) {
    const field = card.querySelector(`input[name$="-${side}"]`);
    const handle = document.createElement("div");
    handle.className = "handle";
    handle.title = `${card.dataset.label}: drag its ${side}`;
    plot.append(handle);
    let time = Number(card.dataset[side]);
    const place = () => { handle.style.left = `${xAt(time)}px`; };
    place();
    window.addEventListener("resize", place);

    handle.addEventListener("pointerdown", (event) => {
      handle.setPointerCapture(event.pointerId);
      event.preventDefault();
    });
    handle.addEventListener("pointermove", (event) => {
      if (!handle.hasPointerCapture(event.pointerId)) { return; }
      time = Math.round(timeAt(event.clientX));
      place();
      // The field holds wall time of the session's zone; the offset is that of the window's own start.
      field.value = new Date((time + Number(card.dataset.offset)) * 1000).toISOString().slice(0, 19);
      card.querySelector("details").open = true;
    });
    handle.addEventListener("pointerup", () => card.querySelector('[name$="-reason"]').focus({ preventScroll: true }));
    field.addEventListener("input", () => {
      const typed = Date.parse(`${field.value}Z`);
      if (!Number.isNaN(typed)) { time = typed / 1000 - Number(card.dataset.offset); place(); }
    });
  }
});
