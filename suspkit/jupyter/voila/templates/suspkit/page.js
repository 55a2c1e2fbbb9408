"use strict";
{
  const config = JSON.parse(document.getElementById("jupyter-config-data").textContent);
  const all = (selector) => document.querySelectorAll(selector);
  // To be ticked, as on a clipboard. What sliders and pictures are called is said by names.js.
  for (const box of all(".task-list-item-checkbox")) {
    box.disabled = false;
    box.setAttribute("aria-label", box.closest("li").textContent.trim());
  }

  // A page stops its kernel when it is left, with a cookie that only the list of pages sets.
  if (!document.cookie.includes("_xsrf=")) fetch(config.baseUrl);

  // A tablet that slept may have lost its kernel: then say so, for nothing would move any more.
  const watch = async () => {
    if (document.hidden) return;
    const kernel = `${config.baseUrl}api/kernels/${config.kernelId}`;
    const alive = await fetch(kernel).then((answer) => answer.ok, () => false);
    document.getElementById("asleep").hidden = alive;
    document.body.classList.toggle("asleep", !alive);
  };
  setInterval(watch, 5000);
  document.addEventListener("visibilitychange", watch);
}
