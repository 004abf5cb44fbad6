"use strict";
// A form with data-live is sent to that address after every answer; every element of what comes back
// that has an id and data-panel takes the place of the one on the page. A form with data-draft is kept
// in the browser under that name until it is saved, so that a reload loses nothing. A button with
// data-save sends the form to be saved. details with data-load are filled when they are opened.

const body_of = (form) => new URLSearchParams(new FormData(form));

const tell = (words) => {
  const place = document.getElementById("told");
  if (place) place.textContent = words;
};

const put = (html) => {
  const sent = new DOMParser().parseFromString(html, "text/html");
  const words = sent.querySelector("[data-told]")?.dataset.told;
  for (const panel of sent.querySelectorAll("[data-panel][id]")) {
    const here = document.getElementById(panel.id);
    if (!here) continue;
    const open = new Set([...here.querySelectorAll("details[open][id]")].map((d) => d.id));
    here.replaceChildren(...panel.childNodes);
    for (const id of open) document.getElementById(id)?.setAttribute("open", "");
    here.dispatchEvent(new CustomEvent("redrawn", { bubbles: true }));
  }
  return { list: sent.getElementById("trouble"), words };
};

const send = (address, form) =>
  fetch(address, { method: "POST", body: body_of(form), headers: { accept: "text/html" } });

// Redrawing ------------------------------------------------------------------------------------

let asked = 0;
// What saving said stands until the next answer, though a redraw may come in after it.
let saved_last = false;
const redraw = async (form) => {
  const mine = ++asked;
  try {
    const answer = await send(form.dataset.live, form);
    const html = await answer.text();
    if (mine !== asked) return;
    const { list, words } = put(html);
    const trouble = document.getElementById("trouble-here");
    if (trouble) {
      trouble.replaceChildren(...(list ? [list] : []));
      trouble.hidden = !list;
    }
    if (!saved_last) tell(list ? "That answer cannot be used." : words || "Redrawn.");
  } catch {
    tell("The server does not answer. What you entered is kept in this browser.");
  }
};

// Drafts ---------------------------------------------------------------------------------------

const draft_name = (form) => `draft:${form.dataset.draft}`;
const keep = (form) => {
  if (!form.dataset.draft) return;
  const fields = [...body_of(form)];
  try {
    localStorage.setItem(draft_name(form), JSON.stringify({ version: form.elements.version?.value, fields }));
  } catch {
    tell("This browser keeps no drafts: save before you reload.");
  }
};
const forget = (form) => localStorage.removeItem(draft_name(form));

const fill = (form, fields) => {
  for (const field of form.elements) {
    if (!field.name || field.type === "hidden" || field.type === "submit") continue;
    const given = fields.filter(([name]) => name === field.name).map(([, value]) => value);
    if (field.type === "radio" || field.type === "checkbox") field.checked = given.includes(field.value);
    else field.value = given.length ? given[given.length - 1] : "";
  }
};

const restore = (form) => {
  const kept = localStorage.getItem(draft_name(form));
  if (!kept) return;
  const draft = JSON.parse(kept);
  if (JSON.stringify(draft.fields) === JSON.stringify([...body_of(form)])) return;
  fill(form, draft.fields);
  form.dispatchEvent(new CustomEvent("restored", { bubbles: true }));
  const notice = document.getElementById("unsaved");
  if (notice) {
    notice.hidden = false;
    const changed = draft.version !== form.elements.version?.value;
    const other = notice.querySelector("[data-changed]");
    if (other) other.hidden = !changed;
  }
  // The version that was read stays with the draft: saving tells if the file has changed since.
  if (form.elements.version && draft.version !== undefined) form.elements.version.value = draft.version;
  if (form.dataset.live) redraw(form);
};

// Saving ---------------------------------------------------------------------------------------

const save = async (form, button) => {
  button.disabled = true;
  saved_last = true;
  try {
    const answer = await send(button.dataset.save, form);
    const html = await answer.text();
    const sent = new DOMParser().parseFromString(html, "text/html");
    if (answer.ok) {
      const saved = sent.querySelector("[data-version]");
      if (saved && form.elements.version) form.elements.version.value = saved.dataset.version;
      if (saved && saved.dataset.file && form.elements.file) form.elements.file.value = saved.dataset.file;
      forget(form);
      const notice = document.getElementById("unsaved");
      if (notice) notice.hidden = true;
      put(html);
      tell("Saved.");
    } else if (answer.status === 409 && document.getElementById("conflict")) {
      const dialog = document.getElementById("conflict");
      const both = sent.getElementById("both");
      if (both) dialog.querySelector("[data-both]").replaceChildren(both);
      dialog.showModal();
      tell("The file has changed since you opened it. Nothing was saved.");
    } else {
      const trouble = document.getElementById("trouble-here");
      const list = sent.getElementById("trouble");
      if (trouble && list) {
        trouble.replaceChildren(list);
        trouble.hidden = false;
        trouble.scrollIntoView({ block: "nearest" });
      }
      tell("Not saved.");
    }
  } catch {
    tell("The server does not answer. What you entered is kept in this browser.");
  } finally {
    button.disabled = false;
  }
};

// Everything together --------------------------------------------------------------------------

for (const form of document.querySelectorAll("form[data-live], form[data-draft]")) {
  let waiting;
  const changed = () => {
    saved_last = false;
    keep(form);
    clearTimeout(waiting);
    if (form.dataset.live) waiting = setTimeout(() => redraw(form), 120);
  };
  form.addEventListener("input", changed);
  form.addEventListener("answered", changed);
  if (form.dataset.draft) restore(form);
}

document.addEventListener("click", (event) => {
  const saver = event.target.closest("button[data-save]");
  if (saver) {
    event.preventDefault();
    save(saver.form, saver);
  }
  const closer = event.target.closest("[data-close]");
  if (closer) closer.closest("dialog").close();
  const dropper = event.target.closest("[data-drop-draft]");
  if (dropper) {
    const form = document.getElementById(dropper.dataset.dropDraft);
    forget(form);
    location.reload();
  }
});

document.addEventListener("toggle", async (event) => {
  const details = event.target;
  if (!(details instanceof HTMLDetailsElement) || !details.open || !details.dataset.load) return;
  const form = document.getElementById(details.dataset.form);
  const place = details.querySelector("[data-filled]");
  try {
    const answer = await send(details.dataset.load, form);
    const sent = new DOMParser().parseFromString(await answer.text(), "text/html");
    const what = sent.getElementById("filling") || sent.getElementById("trouble");
    if (place && what) {
      what.removeAttribute("id");
      place.replaceChildren(what);
    }
  } catch {
    tell("The server does not answer.");
  }
}, true);
