// The day's routes on a map: places and straight ways between them; tiles only where a map server is set.

import * as L from "../contractors/vendor/leaflet/leaflet.js";

const WAYS = [null, "8 5", "2 5", "12 4 2 4", "5 5", "1 4"];

function pin(feature, at) {
  const { label, name, depot } = feature.properties;
  const words = depot ? name : label;
  const icon = L.divIcon({
    className: depot ? "map-stop map-depot" : "map-stop",
    html: "",
    iconSize: [Math.max(36, 9 + words.length * 7.4), 22],
  });
  const marker = L.marker(at, { icon, title: name, alt: `${words}: ${name}`, keyboard: true, zIndexOffset: depot ? -1000 : 0 });
  marker.on("add", () => (marker.getElement().textContent = words));
  return marker;
}

async function draw(place) {
  const answer = await fetch(place.dataset.map, { headers: { Accept: "application/json" } });
  if (!answer.ok) return;
  const routes = await answer.json();
  const map = L.map(place, { zoomControl: true, attributionControl: Boolean(place.dataset.tiles), zoomSnap: 0.25 });
  if (place.dataset.tiles) L.tileLayer(place.dataset.tiles, { attribution: place.dataset.credit, maxZoom: 19 }).addTo(map);
  const people = [...new Set(routes.features.map((feature) => feature.properties.technician).filter(Boolean))];
  const layer = L.geoJSON(routes, {
    style: (feature) => {
      const turn = people.indexOf(feature.properties.technician) % WAYS.length;
      return { className: `map-way map-way-${turn + 1}`, weight: 2.5, dashArray: WAYS[turn], color: "" };
    },
    pointToLayer: pin,
    onEachFeature: (feature, shape) => shape.bindTooltip(document.createTextNode(feature.properties.name)),
  }).addTo(map);
  if (routes.features.length) map.fitBounds(layer.getBounds(), { padding: [28, 28] });
  else map.setView([0, 0], 1);
}

document.querySelectorAll("[data-map]").forEach(draw);
