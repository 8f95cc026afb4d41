"use strict";
const form = document.forms[0], place = location.pathname + document.title;
const rows = () => [...form.querySelectorAll("[data-id]")];
const field = row => row.querySelector("input[type=text],input[type=date],select");
const ticked = (row, name) => { const box = row.querySelector("input." + name); return !!box && box.checked; };
const answer = row => {
  if (row.dataset.kind === "listed") return ticked(row, "all") ? "yes" : "";
  if (ticked(row, "unknown")) return "?";
  const value = field(row).value.trim();
  if (!value || !ticked(row, "measured") || value.includes("(")) return value;
  return (/^[-\d.,]+$/.test(value) ? value + " " + row.dataset.unit : value) + " (measured)";
};
const state = () => rows().map(row => [...row.querySelectorAll("input,select")].map(
  i => i.type === "checkbox" ? i.checked : i.value));
const count = () => {
  const all = rows(), done = all.filter(answer).length;
  document.getElementById("count").textContent = done + " of " + all.length;
};
form.addEventListener("input", () => {
  count();
  try { localStorage.setItem(place, JSON.stringify(state())); } catch { /* a page may not keep anything */ }
});
form.addEventListener("click", e => {
  const value = e.target.dataset && e.target.dataset.value;
  if (value === undefined) return;
  const row = e.target.closest("[data-id]"), to = field(row);
  const list = row.dataset.kind === "several" && to.value.trim() && value !== "none";
  to.value = list ? to.value + ", " + value : value;
  to.dispatchEvent(new Event("input", { bubbles: true }));
});
const cell = text => '"' + text.replaceAll('"', '""') + '"';
const table = () => "question,answer,label\r\n" + rows().filter(answer).map(
  row => [row.dataset.id, answer(row), row.dataset.label].map(cell).join(",") + "\r\n").join("");
form.addEventListener("submit", e => {
  e.preventDefault();
  const a = document.createElement("a");
  a.href = URL.createObjectURL(new Blob([table()], { type: "text/csv" }));
  a.download = document.title.toLowerCase().replace(/[^a-z0-9]+/g, "-") + ".csv";
  a.click();
});
try {
  const kept = JSON.parse(localStorage.getItem(place) || "[]"), all = rows();
  if (kept.length === all.length) all.forEach((row, i) => [...row.querySelectorAll("input,select")].forEach(
    (to, j) => { if (to.type === "checkbox") to.checked = kept[i][j]; else to.value = kept[i][j]; }));
} catch { /* nothing was kept */ }
count();
