// Sliders: each movement asks the desk, which reckons; the answer replaces the old one.
(function () {
  "use strict";
  var form = document.getElementById("plan");
  var out = document.getElementById("reckoned");
  if (!form || !out) { return; }
  form.querySelector(".unscripted").hidden = true;
  var asked = 0, shown = 0, waiting = 0;

  function ask() {
    asked += 1;
    var number = asked;
    var query = new URLSearchParams(new FormData(form)).toString();
    out.setAttribute("aria-busy", "true");
    fetch("/plan/reckoned?" + query, { credentials: "same-origin" })
      .then(function (answer) {
        if (!answer.ok) { throw new Error(String(answer.status)); }
        return answer.text();
      })
      .then(function (text) {
        if (number < shown) { return; } // a later movement was answered before
        shown = number;
        out.innerHTML = text;
        if (number === asked) { out.removeAttribute("aria-busy"); }
      })
      .catch(function () {
        out.textContent = "The desk does not answer. Is tautlog desk still running?";
      });
  }

  // What takes longer comes after the page.
  var climb = document.getElementById("climb");
  climb.textContent = "The ladder and the next step are being reckoned.";
  fetch(climb.dataset.from, { credentials: "same-origin" })
    .then(function (answer) { return answer.text(); })
    .then(function (text) { climb.innerHTML = text; climb.dataset.state = "shown"; })
    .catch(function () { climb.textContent = "The desk does not answer."; });

  function soon() {
    window.clearTimeout(waiting);
    waiting = window.setTimeout(ask, 60);
  }

  form.querySelectorAll("input[type=range]").forEach(function (slider) {
    var box = document.getElementById(slider.dataset.of);
    slider.addEventListener("input", function () {
      form.elements.solve.value = ""; // what is slid is not solved for
      box.value = slider.value;
      soon();
    });
    box.addEventListener("input", function () {
      if (/^[0-9.]+$/.test(box.value)) { slider.value = box.value; } // not of another unit
      soon();
    });
  });
  form.addEventListener("change", function (event) {
    if (event.target.type !== "range") { soon(); }
  });
}());
