"use strict";
for (const figure of document.querySelectorAll(".ring-figure")) {
  const axle = figure.dataset.axle;
  const text = JSON.parse(figure.querySelector("script").textContent);
  const slider = figure.querySelector("input");
  slider.addEventListener("input", () => {
    const chosen = Number(slider.value);
    for (const name of ["ring", "met"]) {
      text.gaps.forEach((_, i) => {
        const curve = figure.querySelector(`[id="${name}-${axle}-${i}"]`);
        if (curve) curve.setAttribute("visibility", i === chosen ? "visible" : "hidden");
      });
    }
    slider.setAttribute("aria-valuetext", text.gaps[chosen]);
    figure.querySelector("output").textContent = text.words[chosen];
  });
}
