// Small comforts; every page works without them.
const find = (selector, root = document) => [...root.querySelectorAll(selector)];

for (const button of find("[data-print]")) {
  button.hidden = false;
  button.addEventListener("click", () => window.print());
}

for (const field of find("[data-copy]")) field.addEventListener("focus", () => field.select());

for (const form of find("form[data-sure]")) {
  form.addEventListener("submit", (event) => {
    if (!window.confirm(form.dataset.sure)) event.preventDefault();
  });
}

for (const form of find("form[data-wait]")) {
  form.addEventListener("submit", () => {
    const place = form.querySelector("[data-waiting]");
    const began = Date.now();
    form.querySelector("button").disabled = true;
    const tell = () => { place.textContent = `${form.dataset.wait} (${Math.round((Date.now() - began) / 1000)} s)`; };
    tell();
    setInterval(tell, 1000);
  });
}

// a number's grounds: a second tap closes them again
for (const link of find("a.ask")) {
  link.addEventListener("click", (event) => {
    if (location.hash !== link.getAttribute("href")) return;
    event.preventDefault();
    location.hash = link.getAttribute("href").replace("why-", link.closest("tr").id.split("-")[0] + "-");
  });
}

// a new part's name is asked for only where one is wanted
for (const select of find("select[data-new]")) {
  const more = document.getElementById(select.dataset.new);
  const show = () => { more.hidden = select.value !== ""; };
  select.addEventListener("change", show);
  show();
}

// a page saved from the browser, dropped on its listing
for (const form of find("form.drop")) {
  const input = form.querySelector("input[type=file]");
  form.addEventListener("dragover", (event) => event.preventDefault());
  form.addEventListener("drop", (event) => {
    event.preventDefault();
    input.files = event.dataTransfer.files;
    if (input.files.length) form.requestSubmit();
  });
}

if (location.hash === "#as-table") document.getElementById("as-table")?.setAttribute("open", "");
window.addEventListener("hashchange", () => {
  if (location.hash === "#as-table") document.getElementById("as-table")?.setAttribute("open", "");
});
