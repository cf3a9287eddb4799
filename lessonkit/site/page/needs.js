// Says in one sentence that this browser is too old. Written so that a browser of ten years ago can read it; what is
// asked for here came last to each browser of all that the page uses.
(function () {
  var needs = ["DecompressionStream", "WebAssembly", "Worker", "structuredClone"];
  var lacks = needs.filter(function (name) {
    return !(name in window);
  });
  if (!lacks.length) return;
  window.lessonkitLacks = lacks;
  document.addEventListener("DOMContentLoaded", function () {
    var words = document.createElement("p");
    words.className = "lk-needs";
    words.setAttribute("role", "alert");
    words.textContent =
      "This browser is too old for this page (it has no " + lacks.join(", no ") + "). Open the page in Chrome or Edge 98, " +
      "Firefox 113, Safari 16.4, or a newer one.";
    document.body.insertBefore(words, document.body.firstChild);
  });
})();
