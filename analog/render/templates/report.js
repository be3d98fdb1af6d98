// Everything here is a convenience: the page says all it has to say without it.
"use strict";

// Browsers keep closed details out of print; open them for it and close them again.
let opened = [];
addEventListener("beforeprint", () => {
  document.querySelectorAll("svg.zoomed").forEach((svg) => show(svg, svg.whole));
  opened = [...document.querySelectorAll("details:not([open])")];
  opened.forEach((one) => { one.open = true; });
});
addEventListener("afterprint", () => opened.forEach((one) => { one.open = false; }));

// Zoom: buttons, + and − and arrow keys while a picture has the focus, dragging. 0 shows it whole.
function show(svg, view) {
  const whole = svg.whole;
  const width = Math.min(Math.max(view.width, whole.width / 16), whole.width);
  const height = width * whole.height / whole.width;
  const keep = (low, size, from, all) => Math.min(Math.max(low, from), from + all - size);
  const x = keep(view.x, width, whole.x, whole.width);
  const y = keep(view.y, height, whole.y, whole.height);
  svg.now = { x, y, width, height };
  svg.setAttribute("viewBox", [x, y, width, height].map((n) => +n.toFixed(3)).join(" "));
  svg.classList.toggle("zoomed", width < whole.width);
}

function zoom(svg, factor) {
  const { x, y, width, height } = svg.now;
  show(svg, {
    x: x + width * (1 - factor) / 2, y: y + height * (1 - factor) / 2, width: width * factor,
  });
}

function move(svg, across, down) {
  const { x, y, width, height } = svg.now;
  show(svg, { x: x + across * width, y: y + down * height, width });
}

const ACTS = {
  "+": (svg) => zoom(svg, 1 / 1.5), "=": (svg) => zoom(svg, 1 / 1.5), "-": (svg) => zoom(svg, 1.5),
  "0": (svg) => show(svg, svg.whole),
  ArrowLeft: (svg) => move(svg, -0.2, 0), ArrowRight: (svg) => move(svg, 0.2, 0),
  ArrowUp: (svg) => move(svg, 0, -0.2), ArrowDown: (svg) => move(svg, 0, 0.2),
};

function button(text, label, act) {
  const made = document.createElement("button");
  made.type = "button";
  made.textContent = text;
  made.setAttribute("aria-label", label);
  made.addEventListener("click", act);
  return made;
}

document.querySelectorAll(".sheet > svg.figure, .sheet > svg.schematic").forEach((svg) => {
  const sheet = svg.parentElement;
  const box = svg.viewBox.baseVal;
  svg.whole = { x: box.x, y: box.y, width: box.width, height: box.height };
  svg.now = svg.whole;
  const tools = document.createElement("div");
  tools.className = "tools screen";
  const name = sheet.getAttribute("aria-label");
  tools.append(
    button("+", `Enlarge: ${name}`, () => ACTS["+"](svg)),
    button("−", `Reduce: ${name}`, () => ACTS["-"](svg)),
    button("whole", `Show whole: ${name}`, () => ACTS["0"](svg)),
  );
  sheet.after(tools);
  sheet.addEventListener("keydown", (event) => {
    const arrow = event.key.startsWith("Arrow");
    if (event.ctrlKey || event.metaKey || event.altKey || !(event.key in ACTS)) return;
    if (arrow && !svg.classList.contains("zoomed")) return; // the page's own scrolling
    event.preventDefault();
    ACTS[event.key](svg);
  });
  let from = null;
  svg.addEventListener("pointerdown", (event) => {
    if (!svg.classList.contains("zoomed") || event.button !== 0) return;
    from = { x: event.clientX, y: event.clientY };
    svg.setPointerCapture(event.pointerId);
  });
  svg.addEventListener("pointermove", (event) => {
    if (from === null) return;
    const shown = svg.getBoundingClientRect();
    move(svg, (from.x - event.clientX) / shown.width, (from.y - event.clientY) / shown.height);
    from = { x: event.clientX, y: event.clientY };
  });
  for (const end of ["pointerup", "pointercancel"]) svg.addEventListener(end, () => { from = null; });
});

// Copy a netlist. Without a clipboard (some browsers, for files) the text is selected instead.
document.querySelectorAll("pre.copy").forEach((text) => {
  const copy = button("copy", `Copy: ${text.getAttribute("aria-label")}`, async () => {
    try {
      await navigator.clipboard.writeText(text.textContent);
      copy.textContent = "copied";
    } catch {
      getSelection().selectAllChildren(text);
      copy.textContent = "selected: copy it now";
    }
  });
  copy.className = "screen";
  text.before(copy);
});
