// Taps at a visit: the expected value is taken over, steps up and down, a choice untapped.
"use strict";
document.documentElement.classList.add("script");

const taps = {
  comma: document.documentElement.dataset.comma === "1",
  read: (text) => parseFloat(String(text).trim().replace(",", ".")),
  write(value) {
    const text = String(Math.round(value * 100) / 100);
    return taps.comma ? text.replace(".", ",") : text;
  },
  told(field) {
    field.dispatchEvent(new Event("input", { bubbles: true }));
  },
};

document.addEventListener("click", (event) => {
  const button = event.target.closest("[data-tap]");
  if (!button) return;
  const line = button.closest(".line");
  const field = line.querySelector("input");
  const hint = taps.read(line.dataset.hint);
  const step = taps.read(line.dataset.by || line.closest(".area").dataset.step);
  const now = taps.read(field.value);
  const from = Number.isNaN(now) ? (Number.isNaN(hint) ? 0 : hint) : now;
  if (button.dataset.tap === "take") {
    if (Number.isNaN(hint)) return;
    field.value = taps.write(hint);
  } else {
    field.value = taps.write(Math.max(0, from + (button.dataset.tap === "more" ? step : -step)));
  }
  taps.told(field);
});

// A second tap on a choice takes it back; radio buttons alone cannot.
document.addEventListener("click", (event) => {
  const radio = event.target;
  if (radio.type !== "radio") return;
  const again = radio.dataset.on === "1";
  for (const one of radio.form.querySelectorAll("input[type=radio]")) {
    if (one.name === radio.name) one.dataset.on = "";
  }
  radio.checked = !again;
  radio.dataset.on = again ? "" : "1";
  if (again) taps.told(radio);
});

// A height far from what was expected is marked at once.
document.addEventListener("input", (event) => {
  const line = event.target.closest(".line[data-line=b]");
  if (!line) return;
  const area = line.closest(".area");
  const [low, high] = area.dataset.odd.split(" ").map(Number);
  const value = taps.read(event.target.value);
  const odd = value < low || value > high;
  line.classList.toggle("is-odd", odd);
  area.querySelector("p.odd").hidden = !odd;
});
