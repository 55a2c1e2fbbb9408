"use strict";
// Widgets leave out what a slider is called and reads, which button is pressed, what a picture
// shows. A ready-made extension, as JupyterLab and the tablet's pages load them: nothing to build.
window._JUPYTERLAB ??= {};
window._JUPYTERLAB.suspkit = {
  init() {},
  async get() {
    const ICONS = { play: "play", pause: "pause", stop: "back to the start", retweet: "repeat" };
    const say = (element, name, text) => {
      if (text !== undefined && element.getAttribute(name) !== text) element.setAttribute(name, text);
    };

    const name = (panel) => {
      const all = (selector) => panel.querySelectorAll(selector);
      for (const slider of all(".widget-hslider")) {
        const called = slider.querySelector(".widget-label").textContent;
        const reads = slider.querySelector(".widget-readout")?.textContent.trim() ?? "";
        const handles = slider.querySelectorAll(".noUi-handle");
        handles.forEach((handle, i) => {
          say(handle, "aria-label", handles.length > 1 ? `${called} ${["from", "to"][i]}` : called);
          const parts = handles.length > 1 ? reads.split(/ – |-/) : [reads];
          if (reads) say(handle, "aria-valuetext", parts[i]);
        });
      }
      for (const button of all(".widget-toggle-button")) {
        say(button, "aria-pressed", String(button.classList.contains("mod-active")));
      }
      for (const [icon, does] of Object.entries(ICONS)) {
        for (const button of all(`button:has(> .fa-${icon})`)) say(button, "aria-label", does);
      }
      const words = panel.querySelector(".suspkit-spoken")?.textContent ?? "";
      for (const image of all("img.widget-image")) say(image, "alt", words);
    };

    let waiting = false;
    const look = () => {
      if (!waiting) requestAnimationFrame(() => {
        waiting = false;
        document.querySelectorAll(".suspkit-panel").forEach(name);
      });
      waiting = true;
    };
    const activate = () => new MutationObserver(look).observe(document.body, {
      subtree: true, childList: true, characterData: true,
      attributeFilter: ["class", "src", "aria-valuetext"],
    });
    const plugin = { id: "suspkit:names", autoStart: true, activate };
    return () => ({ __esModule: true, default: plugin });
  },
};
