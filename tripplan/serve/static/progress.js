// How far the work is, asked for once a second; the page does without this, only slower.
"use strict";
(function () {
  var box = document.getElementById("standing"), what = document.getElementById("what"), bar = document.getElementById("share");
  if (!box) { return; }
  var failed = 0;
  function show(s) {
    var text = s.ahead > 0 ? s.ahead + " before you. Everybody who waits has one turn at a time." : s.ahead === 0 ? "You are next." : (s.what || "Beginning");
    if (what.textContent !== text) { what.textContent = text; }
    if (s.share >= 0) { bar.value = s.share; } else { bar.removeAttribute("value"); }
  }
  function ask() {
    fetch(box.dataset.state, { credentials: "same-origin", cache: "no-store" }).then(function (r) {
      if (r.status === 429) { return { wait: true }; }
      return r.json();
    }).then(function (s) {
      failed = 0;
      if (s.wait) { setTimeout(ask, 5000); return; }
      if (!s.going) { location.reload(); return; }
      show(s);
      setTimeout(ask, 1000);
    }).catch(function () {
      failed += 1;
      what.textContent = "The page does not answer at the moment. It is asked again.";
      setTimeout(ask, Math.min(1000 * Math.pow(2, failed), 30000));
    });
  }
  setTimeout(ask, 500);
})();
