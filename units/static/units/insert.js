// Sets a reference into the text where the cursor stands; without a script they are typed, by the list of names.
const tool = document.querySelector("[data-insert]");
if (tool) {
  const text = document.getElementById(tool.dataset.insert);
  const choice = tool.querySelector("select");
  tool.hidden = false;
  tool.querySelector("button").addEventListener("click", () => {
    const alone = choice.selectedOptions[0].hasAttribute("data-alone"); // a chart or table stands on a line of its own
    const before = text.value.slice(0, text.selectionStart);
    const lead = alone && before && !before.endsWith("\n\n") ? (before.endsWith("\n") ? "\n" : "\n\n") : "";
    const gap = !alone && /[^\s([“-]$/.test(before) ? " " : ""; // two figures in a row stay apart
    text.setRangeText(`${lead}${gap}${choice.value}${alone ? "\n\n" : ""}`, text.selectionStart, text.selectionEnd, "end");
    text.focus();
    text.dispatchEvent(new Event("input", { bubbles: true })); // so that the preview follows
  });
}
