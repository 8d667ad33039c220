// A frame that scrolls is reached by the keyboard and has a name; one that
// does not is no stop on the way.
(function () {
  "use strict";
  function name(frame) {
    var caption = frame.querySelector("caption");
    if (caption) { return caption.textContent.trim(); }
    for (var e = frame; e; e = e.parentElement) {
      for (var b = e.previousElementSibling; b; b = b.previousElementSibling) {
        if (/^(H[1-4]|SUMMARY)$/.test(b.tagName)) { return b.textContent.trim(); }
      }
    }
    return "Table";
  }
  function mark() {
    document.querySelectorAll(".scroll").forEach(function (frame) {
      if (frame.scrollWidth > frame.clientWidth + 1) {
        frame.tabIndex = 0;
        frame.setAttribute("role", "group");
        frame.setAttribute("aria-label", name(frame) + ", scrolls sideways");
      } else {
        frame.removeAttribute("tabindex");
        frame.removeAttribute("role");
        frame.removeAttribute("aria-label");
      }
    });
  }
  mark();
  window.addEventListener("resize", mark);
  document.addEventListener("toggle", mark, true);
}());
