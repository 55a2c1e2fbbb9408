// What is wider than the page can be scrolled with the keyboard too.
addEventListener("load", () => {
  for (const box of document.querySelectorAll("pre, .table-wrapper, .wide"))
    if (box.scrollWidth > box.clientWidth) box.tabIndex = 0;
});
