// Maps on outlines served from here: points and a route, or a place to pick.
//
// [data-map] draws the JSON block "<id>" named by data-map (default: the next application/json script):
// {points: [{lat, lng, label, number?, kind?}], line: [[lat, lng], …]}. [data-pick-map] fills the inputs named by
// data-lat and data-lng, and follows them when they are typed.

import * as L from "../../vendor/leaflet-1.9.4/leaflet-src.esm.js";

const CITIES = [
  ["Nashville", 36.1627, -86.7816],
  ["Chattanooga", 35.0456, -85.3097],
  ["Knoxville", 35.9606, -83.9207],
  ["Huntsville", 34.7304, -86.5861],
];
const outlines = fetch(new URL("../../maps/region.geojson", import.meta.url)).then((answer) => answer.json());

function sheet() {
  if (document.querySelector("link[data-leaflet]")) return;
  const link = document.createElement("link");
  link.rel = "stylesheet";
  link.dataset.leaflet = "yes";
  link.href = new URL("../../vendor/leaflet-1.9.4/leaflet.css", import.meta.url);
  document.head.append(link);
}

async function ground(element) {
  const map = L.map(element, { zoomControl: true, attributionControl: true, scrollWheelZoom: false });
  map.setView([35.5, -85.6], 7);
  map.attributionControl.setPrefix("");
  map.attributionControl.addAttribution("Outlines: U.S. Census Bureau");
  L.control.scale({ imperial: true, metric: true }).addTo(map);
  L.geoJSON(await outlines, {
    interactive: false,
    style: (feature) => ({
      className: feature.properties.kind === "state" ? "map-state" : "map-county",
      weight: feature.properties.kind === "state" ? 1.6 : 0.8,
      fill: false,
    }),
  }).addTo(map);
  for (const [name, lat, lng] of CITIES) {
    L.marker([lat, lng], { interactive: false, keyboard: false, icon: L.divIcon({ className: "city-name", html: name, iconSize: null }) }).addTo(map);
  }
  return map;
}

function pin(point) {
  const order = point.number ? String(point.number) : "";
  return L.marker([point.lat, point.lng], {
    title: point.label,
    alt: point.label,
    icon: L.divIcon({ className: `map-pin ${point.kind ?? ""}`, html: order, iconSize: [28, 28] }),
  }).bindTooltip(point.label);
}

function dataOf(element) {
  const id = element.dataset.map;
  const block = id ? document.getElementById(id) : element.parentElement.querySelector('script[type="application/json"]');
  return block ? JSON.parse(block.textContent) : { points: [] };
}

async function drawOne(element) {
  const data = dataOf(element);
  const map = await ground(element);
  const points = data.points ?? [];
  for (const point of points) pin(point).addTo(map);
  const route = data.line ?? [];
  if (route.length > 1) L.polyline(route, { className: "map-route", weight: 3 }).addTo(map);
  const all = [...points.map((point) => [point.lat, point.lng]), ...route];
  if (all.length) map.fitBounds(all, { padding: [36, 36], maxZoom: 12 });
}

async function pickOne(element) {
  const lat = document.getElementById(element.dataset.lat);
  const lng = document.getElementById(element.dataset.lng);
  const map = await ground(element);
  const here = () => [Number.parseFloat(lat.value), Number.parseFloat(lng.value)];
  const known = here().every(Number.isFinite);
  const marker = L.marker(known ? here() : map.getCenter(), { draggable: true, keyboard: true, icon: L.divIcon({ className: "map-pin", iconSize: [28, 28] }) }).addTo(map);
  if (known) map.setView(here(), 11);
  const write = ({ lat: north, lng: east }) => {
    lat.value = north.toFixed(5);
    lng.value = east.toFixed(5);
  };
  map.on("click", (event) => {
    marker.setLatLng(event.latlng);
    write(event.latlng);
  });
  marker.on("dragend", () => write(marker.getLatLng()));
  for (const input of [lat, lng]) {
    input.addEventListener("change", () => {
      if (here().every(Number.isFinite)) {
        marker.setLatLng(here());
        map.panTo(here());
      }
    });
  }
}

export function drawMaps() {
  sheet();
  for (const element of document.querySelectorAll("[data-map]:not([data-drawn])")) {
    element.dataset.drawn = "yes";
    drawOne(element);
  }
  for (const element of document.querySelectorAll("[data-pick-map]:not([data-drawn])")) {
    element.dataset.drawn = "yes";
    pickOne(element);
  }
}
