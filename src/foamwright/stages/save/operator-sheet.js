"use strict";
// Zoom, and the cutting order as numbered stills. Without this script the whole sheet is shown.
for (const viewer of document.querySelectorAll(".viewer")) {
  const find = (name) => viewer.querySelector(name);
  const picture = find(".picture");
  const frame = find(".frame");
  const told = find("output");
  const slider = find("input[type=range]");
  const words = [...viewer.querySelectorAll(".in-words li")].map((li) => li.textContent);
  const steps = words.map(() => []);
  for (const part of picture.querySelectorAll("[data-step]")) {
    steps[Number(part.dataset.step) - 1].push(part);
  }
  let step = 0;
  let zoom = 1;

  const paint = (from, to) => {
    for (let k = from; k < to; k += 1) {
      for (const part of steps[k]) {
        part.classList.toggle("to-come", step > 0 && k >= step);
        part.classList.toggle("now", k === step - 1);
      }
    }
  };
  const go = (wanted) => {
    const before = step;
    step = Math.max(0, Math.min(words.length, wanted));
    if (before === 0 || step === 0) {
      paint(0, words.length);
    } else {
      paint(Math.min(before, step) - 1, Math.max(before, step));
    }
    picture.classList.toggle("stepping", step > 0);
    slider.value = String(step);
    told.textContent = step === 0 ? "The whole sheet" : `${step} of ${words.length}: ${words[step - 1]}`;
    find("[data-do=back]").disabled = step === 0;
    find("[data-do=on]").disabled = step === words.length;
  };
  const scale = (wanted) => {
    const middle = [
      (frame.scrollLeft + frame.clientWidth / 2) / zoom,
      (frame.scrollTop + frame.clientHeight / 2) / zoom,
    ];
    zoom = Math.max(1, Math.min(16, wanted));
    const height = frame.dataset.height || String(frame.clientHeight);
    frame.dataset.height = height;
    frame.style.height = zoom > 1 ? `${height}px` : "";
    picture.style.width = zoom > 1 ? `${100 * zoom}%` : "";
    picture.style.maxHeight = zoom > 1 ? "none" : "";
    frame.scrollLeft = middle[0] * zoom - frame.clientWidth / 2;
    frame.scrollTop = middle[1] * zoom - frame.clientHeight / 2;
    if (zoom === 1) {
      delete frame.dataset.height;
    }
    find("[data-do=smaller]").disabled = zoom === 1;
  };
  const does = {
    larger: () => scale(zoom * 1.5),
    smaller: () => scale(zoom / 1.5),
    whole: () => scale(1),
    back: () => go(step - 1),
    on: () => go(step + 1),
    all: () => go(0),
  };
  find(".controls").hidden = false;
  viewer.addEventListener("click", (event) => {
    const button = event.target.closest("[data-do]");
    if (button !== null) {
      does[button.dataset.do]();
    }
  });
  slider.addEventListener("input", () => go(Number(slider.value)));
  frame.addEventListener("keydown", (event) => {
    const action = { "+": "larger", "-": "smaller", 0: "whole", n: "on", b: "back" }[event.key];
    if (action && !event.ctrlKey && !event.metaKey && !event.altKey) {
      does[action]();
      event.preventDefault();
    }
  });
  go(0);
  scale(1);
}
