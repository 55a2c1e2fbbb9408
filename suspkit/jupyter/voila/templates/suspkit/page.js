"use strict";
{
  const config = JSON.parse(document.getElementById("jupyter-config-data").textContent);
  const all = (selector) => document.querySelectorAll(selector);
  const say = (element, name, text) => {
    if (text && element.getAttribute(name) !== text) element.setAttribute(name, text);
  };

  const ICONS = { play: "play", pause: "pause", stop: "back to the start", retweet: "repeat" };

  // Widgets leave out what a slider is called and reads, which button is pressed, what a picture is.
  const name = () => {
    for (const handle of all(".noUi-handle")) {
      const row = handle.closest(".widget-inline-hbox");
      say(handle, "aria-label", row?.querySelector(".widget-label")?.textContent);
      say(handle, "aria-valuetext", row?.querySelector(".widget-readout")?.textContent);
    }
    for (const button of all(".widget-toggle-button")) {
      say(button, "aria-pressed", String(button.classList.contains("mod-active")));
    }
    for (const [icon, does] of Object.entries(ICONS)) {
      for (const button of all(`button:has(> .fa-${icon})`)) say(button, "aria-label", does);
    }
    for (const box of all(".task-list-item-checkbox")) {  // to be ticked, as on a clipboard
      box.disabled = false;
      say(box, "aria-label", box.closest("li").textContent.trim());
    }
    for (const image of all("img.widget-image")) say(image, "alt", "Picture; its words follow.");
  };
  new MutationObserver(name).observe(document.body, {
    subtree: true, childList: true, characterData: true, attributeFilter: ["class", "aria-valuetext"],
  });

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
