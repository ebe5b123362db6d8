/* The map: our own graticule, a scale, outlines and pins; tiles only where the installation names
   them. The list beside it says the same, and its buttons lead to the pins. */

const L = window.L;
const given = JSON.parse(document.getElementById("map-places").textContent);
const frame = document.getElementById("map");
const calm = window.matchMedia("(prefers-reduced-motion: reduce)").matches;
const words = given.words;

/* Steps of the graticule in minutes of arc, each a whole part of a degree or of a minute. */
const STEPS = [1200, 600, 300, 120, 60, 30, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1];
const MOST_LINES = 6;

frame.replaceChildren();
const map = L.map(frame, {
  attributionControl: false,
  zoomControl: false,
  zoomAnimation: !calm,
  fadeAnimation: !calm,
  markerZoomAnimation: !calm,
  scrollWheelZoom: false,
  zoomSnap: 0.5,
  minZoom: 2,
  maxZoom: 18,
});
L.control.zoom({ position: "topright", zoomInTitle: words.closer, zoomOutTitle: words.further }).addTo(map);
L.control.scale({ imperial: false, maxWidth: 140 }).addTo(map);
if (given.tiles) {
  L.tileLayer(given.tiles, { maxZoom: 18 }).addTo(map);
  if (given.credit) {
    const credit = document.createElement("span");
    credit.textContent = given.credit;
    L.control.attribution({ prefix: false }).addAttribution(credit.outerHTML).addTo(map);
  }
}

const graticule = L.layerGroup().addTo(map);

function degrees(value, positive, negative) {
  const minutes = Math.round(Math.abs(value) * 600) / 10;
  const whole = Math.floor(minutes / 60);
  const rest = Math.round((minutes - whole * 60) * 10) / 10;
  const side = value === 0 ? "" : ` ${value > 0 ? positive : negative}`;
  return `${whole}°${rest ? `${String(rest).padStart(2, "0")}′` : ""}${side}`;
}

/* Words on the map. The pins and the list are what is reached by key and read aloud. */
function label(text, at, className) {
  const html = document.createElement("span");
  html.textContent = text;
  const icon = L.divIcon({ className, html, iconSize: null });
  return L.marker(at, { icon, interactive: false, keyboard: false });
}

function line(ends, text, at, kind) {
  L.polyline(ends, { className: "graticule", interactive: false }).addTo(graticule);
  label(text, at, `graticule-name graticule-${kind}`).addTo(graticule);
}

function drawGraticule() {
  graticule.clearLayers();
  const view = map.getBounds();
  const [south, north] = [view.getSouth(), view.getNorth()];
  const [west, east] = [view.getWest(), view.getEast()];
  const span = Math.max(north - south, east - west) * 60;
  const step = (STEPS.findLast((each) => span / each <= MOST_LINES) ?? STEPS[0]) / 60;
  for (let n = Math.ceil(south / step); n * step <= north; n += 1) {
    const at = n * step;
    const ends = [[at, west], [at, east]];
    line(ends, degrees(at, words.north, words.south), [at, west], "across");
  }
  for (let n = Math.ceil(west / step); n * step <= east; n += 1) {
    const at = n * step;
    line([[south, at], [north, at]], degrees(at, words.east, words.west), [north, at], "up");
  }
}

function told(pin) {
  const found = document.createElement("div");
  const name = document.createElement("strong");
  name.textContent = pin.name;
  const says = document.createElement("p");
  says.textContent = pin.says;
  const way = document.createElement("a");
  way.href = pin.href;
  way.textContent = words.open;
  found.append(name, says, way);
  return found;
}

function named(text, at, kind) {
  label(text, at, `place-name place-${kind}`).addTo(map);
}

/* Names that would lie on each other give way: reefs to nurseries to sites. All are in the list. */
function giveWay() {
  const taken = [];
  for (const kind of ["site", "nursery", "reef"]) {
    for (const name of frame.querySelectorAll(`.place-${kind}`)) {
      const a = name.getBoundingClientRect();
      const lies = taken.some(
        (b) => a.left < b.right && b.left < a.right && a.top < b.bottom && b.top < a.bottom,
      );
      name.classList.toggle("gives-way", lies);
      if (!lies) {
        taken.push(a);
      }
    }
  }
}

const pins = new Map();
const spots = [];
for (const reef of given.reefs) {
  named(reef.name, reef.at, "reef");
  spots.push(reef.at);
}
for (const pin of given.pins) {
  for (const ring of pin.outline) {
    L.polygon(ring, { className: "outline", interactive: false }).addTo(map);
    spots.push(...ring);
  }
  const icon = L.divIcon({ className: `pin pin-${pin.kind}`, iconSize: [44, 44] });
  const marker = L.marker(pin.at, { icon, title: pin.name, riseOnHover: true });
  marker.bindPopup(told(pin), { minWidth: 180 }).addTo(map);
  named(pin.name, pin.at, pin.kind);
  pins.set(pin.key, marker);
  spots.push(pin.at);
}

if (spots.length > 0) {
  map.fitBounds(L.latLngBounds(spots), { padding: [48, 48], maxZoom: 13, animate: false });
} else {
  map.setView([0, 0], 2, { animate: false });
}
drawGraticule();
map.on("moveend", drawGraticule);
giveWay();
map.on("zoomend resize", giveWay);

for (const button of document.querySelectorAll("[data-place]")) {
  button.hidden = false;
  button.addEventListener("click", () => {
    const marker = pins.get(button.dataset.place);
    map.panTo(marker.getLatLng(), { animate: !calm });
    marker.openPopup();
    frame.scrollIntoView({ block: "nearest" });
    marker.getElement().focus({ preventScroll: true });
  });
}
/* The map itself listens for Escape only while nothing in it has the focus. */
frame.addEventListener("keydown", (event) => {
  if (event.key === "Escape") {
    map.closePopup();
  }
});
frame.dataset.ready = "yes";
