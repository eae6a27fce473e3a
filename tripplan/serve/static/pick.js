// The map to choose places on: each sign on it ticks a box of the form, or fills its field. The form does the same without it.
"use strict";
(function () {
  var box = document.getElementById("pick"), source = document.getElementById("map-data");
  if (!box || !source || !window.L) { return; }
  var data = JSON.parse(source.textContent), mode = box.dataset.mode, said = document.getElementById("pick-said"), shown = {}, chosen = null;
  var names = {sight: "sight", depot: "depot", town: "town"};
  box.hidden = false;
  var fold = box.closest("details");
  if (fold) { fold.hidden = false; }

  function by(id) { return document.getElementById(id); }
  function say(text) { said.textContent = text; }

  var places = data.places.filter(function (p) { return mode === "sights" ? p[0] === "sight" : p[0] !== "sight"; }).map(function (p) {
    return {kind: p[0], number: p[1], at: [p[2], p[3]], name: p[4] || p[5], ref: p[5]};
  });

  // ------------------------------------------------------------ sights: boxes of the list

  function tick(place) { return by("pick-" + place.number); }

  function taken(place) { return mode === "sights" && !tick(place) && place.added === undefined && by("listed") && by("listed").dataset.chosen.split(" ").indexOf(place.ref) >= 0; }

  function added(place) {
    var row = document.createElement("div"), input = document.createElement("input"), label = document.createElement("label"), id = "pick-" + place.number;
    row.className = "tick";
    input.type = "checkbox"; input.id = id; input.name = id; input.value = place.ref;
    label.htmlFor = id; label.textContent = place.name;
    row.appendChild(input); row.appendChild(label);
    by("listed").appendChild(row);
    input.addEventListener("change", function () { look(place); });
    place.added = true;
    return input;
  }

  function look(place) {
    var marker = shown[place.ref + place.name], el = marker && marker.getElement();
    if (!el) { return; }
    var on = mode === "sights" ? (taken(place) || !!(tick(place) && tick(place).checked)) : chosen === place;
    el.classList.toggle("on", on);
    if (mode === "sights") { el.setAttribute("aria-checked", String(on)); } else { el.setAttribute("aria-pressed", String(on)); }
  }

  function pressed(place) {
    if (mode === "sights") {
      if (taken(place)) { say(place.name + " is among those chosen already."); return; }
      var input = tick(place) || added(place);
      input.checked = !input.checked;
      var label = input.parentNode.querySelector("label");
      say((input.checked ? "Ticked: " : "No longer ticked: ") + label.textContent.replace(/\s+/g, " ").trim() + (input.checked ? ". Add it with the button below the list." : "."));
      look(place);
    } else {
      var before = chosen;
      chosen = place;
      if (before) { look(before); }
      look(place);
      offer(place.name + " (" + names[place.kind] + ")");
    }
  }

  // ------------------------------------------------------------ ends: fields of the form

  function offer(words) { say(words); by("pick-ends").hidden = false; }

  function hidden(name, value) {
    var form = by("pick_up").form, old = form.querySelector("input[type=hidden][name='" + name + "']");
    if (!old) { old = document.createElement("input"); old.type = "hidden"; old.name = name; form.appendChild(old); }
    old.value = value;
  }

  function fill(end) {
    if (!chosen) { return; }
    var field = by(end), several = field.form.querySelectorAll("input[type=radio][name='" + end + "_is']");
    Array.prototype.forEach.call(several, function (radio) { radio.checked = false; radio.disabled = true; });
    field.value = chosen.name;
    hidden(end + "_is", chosen.ref);
    hidden(end + "_typed", chosen.name);
    say((end === "pick_up" ? "Pick-up: " : "Return: ") + chosen.name);
    field.focus();
  }

  Array.prototype.forEach.call(box.querySelectorAll("button[data-end]"), function (button) {
    button.addEventListener("click", function () { fill(button.dataset.end); });
  });

  // ------------------------------------------------------------ the map

  var map = L.map("region-map", {maxZoom: 17, zoomSnap: 0.5, scrollWheelZoom: false}), signs = L.layerGroup(), built = false;

  function build() {
    if (built) { map.invalidateSize(); return; }
    built = true;
    map.setView([(data.bounds[0][0] + data.bounds[1][0]) / 2, (data.bounds[0][1] + data.bounds[1][1]) / 2], 8);
    tripplan.panes(map);
    tripplan.layer("base").addTo(map);
    signs.addTo(map);
    tripplan.start();
    map.on("moveend zoomend", place);
    map.on("click", point);
    place();
  }

  // A sign that would hide another waits until one comes nearer; those chosen come first.
  function place() {
    var view = map.getBounds().pad(0.05), boxes = [], size = 26, focused = document.activeElement && document.activeElement.dataset ? document.activeElement.dataset.ref : "";
    function first(p) { return (tick(p) && tick(p).checked) || taken(p) || p === chosen || p.ref === focused ? 0 : 1; }
    var sorted = places.slice().sort(function (a, b) { return first(a) - first(b); });
    var wanted = {};
    sorted.forEach(function (p) {
      if (!view.contains(p.at)) { return; }
      var at = map.latLngToLayerPoint(p.at);
      if (boxes.some(function (b) { return Math.abs(b.x - at.x) < size && Math.abs(b.y - at.y) < size; })) { return; }
      boxes.push(at);
      wanted[p.ref + p.name] = p;
    });
    Object.keys(shown).forEach(function (key) { if (!wanted[key]) { signs.removeLayer(shown[key]); delete shown[key]; } });
    Object.keys(wanted).forEach(function (key) { if (!shown[key]) { sign(key, wanted[key]); } else { look(wanted[key]); } });
  }

  function sign(key, p) {
    var face = document.createElement("span");
    face.className = "sign for-" + p.kind;
    var marker = L.marker(p.at, {icon: L.divIcon({html: face, className: "sign-box", iconSize: [26, 26], iconAnchor: [13, 33]}), keyboard: true, title: "", alt: p.name, riseOnHover: true});
    marker.on("click", function () { pressed(p); });
    marker.on("add", function () {
      var el = marker.getElement();
      el.setAttribute("role", mode === "sights" ? "checkbox" : "button");
      el.setAttribute("aria-label", p.name);
      el.dataset.ref = p.ref;
      el.onkeydown = function (e) { if (e.key === "Enter" || e.key === " ") { e.preventDefault(); e.stopPropagation(); pressed(p); } };
    });
    shown[key] = marker;
    marker.addTo(signs);
    var told = document.createElement("span");
    told.textContent = p.name;
    marker.bindTooltip(told, {direction: "top", offset: [0, -34]});
    look(p);
  }

  function point(e) {
    var at = e.latlng.wrap(), words = at.lat.toFixed(5) + ", " + at.lng.toFixed(5);
    if (mode === "sights") {
      var field = by("place");
      if (!field) { return; }
      field.value = words;
      say("The point " + words + " stands in the field for a name. Add it there.");
    } else {
      var before = chosen;
      chosen = {kind: "town", number: -1, at: [at.lat, at.lng], name: words, ref: words};
      if (before) { look(before); }
      offer("The point " + words);
    }
  }

  places.forEach(function (p) { var input = mode === "sights" && tick(p); if (input) { input.addEventListener("change", function () { look(p); }); } });
  if (fold && !fold.open) { fold.addEventListener("toggle", function () { if (fold.open) { build(); } }); } else { build(); }
})();
