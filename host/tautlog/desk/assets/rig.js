// How the rehearsed rig stands, asked once a second; what is typed stays.
(function () {
  "use strict";
  var out = document.getElementById("rig-now");
  if (!out) { return; }
  function ask() {
    if (document.hidden) { return; }
    fetch(out.dataset.from, { credentials: "same-origin" })
      .then(function (answer) {
        if (!answer.ok) { throw new Error(String(answer.status)); }
        return answer.text();
      })
      .then(function (text) {
        var spoilt = document.getElementById("spoilt");
        var open = spoilt && spoilt.open;
        if (out.dataset.last === text) { return; }
        out.dataset.last = text;
        out.innerHTML = text;
        spoilt = document.getElementById("spoilt");
        if (spoilt && open) { spoilt.open = true; }
      })
      .catch(function () {
        out.dataset.last = "";
        out.textContent = "The desk does not answer. Is tautlog desk still running?";
      });
  }
  window.setInterval(ask, 1000);
}());
