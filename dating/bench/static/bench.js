"use strict";
// A form with data-live is sent to that address after every answer; every element of what comes back
// that has an id and data-panel takes the place of the one on the page. A form with data-draft is kept
// in the browser under that name until it is saved, so that a reload loses nothing; one with data-new
// has a name of its own, which stands in the address. A button with data-save sends the form to be
// saved. details with data-load are filled when they are opened. While the server does not answer,
// the page says so, and asks again until it does.

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
  return { list: sent.getElementById("trouble"), words, panels: sent.querySelectorAll("[data-panel]").length };
};

// A field that a problem is about is marked as long as the problem stands.
const mark_fields = (form, list) => {
  for (const field of form.querySelectorAll("[aria-invalid]")) field.removeAttribute("aria-invalid");
  for (const { dataset } of list?.querySelectorAll("[data-field]") ?? []) {
    const name = CSS.escape(dataset.field);
    for (const field of form.querySelectorAll(`[name="${name}"], [name^="${name}."]`)) {
      if (field.type !== "radio") field.setAttribute("aria-invalid", "true");
    }
  }
};

const send = (address, form) =>
  fetch(address, { method: "POST", body: body_of(form), headers: { accept: "text/html" } });

// A server that does not answer -----------------------------------------------------------------

// What a form says; where its axis begins and ends is no part of that.
const text_of = (form) => JSON.stringify([...body_of(form)].filter(([name]) => !["from", "to"].includes(name)));
// What the form said when the page was last drawn, and what it says in the file.
const drawn = new WeakMap();
const stored = new WeakMap();

const answers_again = () => new Promise((done) => {
  const ask = async () => {
    try {
      const answer = await fetch("/static/icon.svg", { method: "HEAD", cache: "no-store" });
      if (!answer.ok) throw new Error(`not ours: ${answer.status}`);
      done();
    } catch {
      setTimeout(ask, 2000);
    }
  };
  setTimeout(ask, 2000);
});

let lost = null;
const server_lost = (form) => {
  const notice = document.getElementById("gone");
  const aged = Boolean(form?.dataset.live) && drawn.get(form) !== text_of(form);
  const words = ["The server does not answer."];
  if (aged) words.push("The results do not include your last change.");
  if (form?.dataset.draft) words.push("Your changes are not saved, but are kept in this browser.");
  document.body.classList.toggle("aged", aged);
  if (notice.hidden || notice.textContent !== words.join(" ")) notice.textContent = words.join(" ");
  notice.hidden = false;
  tell("");
  lost ??= answers_again().then(() => {
    lost = null;
    notice.hidden = true;
    document.body.classList.remove("aged");
    tell("The server is answering again.");
    for (const each of document.querySelectorAll("form[data-live]")) {
      if (drawn.get(each) !== text_of(each)) redraw(each);
    }
  });
  return lost;
};

// Redrawing ------------------------------------------------------------------------------------

let asked = 0;
// What saving said stands until the next answer, though a redraw may come in after it.
let saved_last = false;
const redraw = async (form) => {
  const mine = ++asked;
  const text = text_of(form);
  try {
    const answer = await send(form.dataset.live, form);
    const html = await answer.text();
    if (mine !== asked) return;
    const { list, words, panels } = put(html);
    if (!list && !panels) throw new Error(`an answer of another kind: ${answer.status}`);
    drawn.set(form, text);
    mark_fields(form, list);
    const trouble = document.getElementById("trouble-here");
    if (trouble) {
      trouble.replaceChildren(...(list ? [list] : []));
      trouble.hidden = !list;
    }
    if (!saved_last) tell(list ? "That answer cannot be used." : words || "Redrawn.");
  } catch {
    if (mine === asked) server_lost(form);
  }
};

// Drafts ---------------------------------------------------------------------------------------

const draft_name = (form) => `draft:${form.dataset.draft}`;
const show_unsaved = (form) => {
  const unsaved = stored.get(form) !== text_of(form);
  for (const notice of form.querySelectorAll("[data-unsaved]")) notice.hidden = !unsaved;
  if (unsaved) for (const words of form.querySelectorAll(".saved")) words.textContent = "";
  return unsaved;
};
const keep = (form) => {
  if (!form.dataset.draft) return;
  if (!show_unsaved(form)) {
    forget(form);
    return;
  }
  name_new(form);
  const fields = [...body_of(form)];
  const draft = { version: form.elements.version?.value, kept: Date.now(), fields };
  try {
    localStorage.setItem(draft_name(form), JSON.stringify(draft));
  } catch {
    tell("This browser cannot keep unsaved changes: save before you reload.");
  }
};
const forget = (form) => localStorage.removeItem(draft_name(form));

// Every new examination has a draft of its own, named in the address so that a reload finds it.
const NAMED = new URLSearchParams(location.search).get("draft");
const begun_of = (form) => {
  if (form.dataset.new === undefined) return;
  form.dataset.new = `${draft_name(form)}#`;
  if (NAMED) form.dataset.draft += `#${NAMED}`;
  else show_begun(form);
};
const name_new = (form) => {
  if (!form.dataset.new || form.dataset.draft.includes("#")) return;
  const name = [...crypto.getRandomValues(new Uint32Array(2))].map((n) => n.toString(36)).join("");
  form.dataset.draft += `#${name}`;
  const address = new URL(location.href);
  address.searchParams.set("draft", name);
  history.replaceState(null, "", address);
  document.getElementById("drafts").hidden = true;
};
const show_begun = (form) => {
  const place = document.getElementById("drafts");
  const names = Object.keys(localStorage).filter((name) => name.startsWith(form.dataset.new));
  for (const name of names) {
    const draft = JSON.parse(localStorage.getItem(name));
    const said = Object.fromEntries(draft.fields);
    const when = new Date(draft.kept).toLocaleString("en-GB", { dateStyle: "long", timeStyle: "short" });
    const item = document.createElement("li");
    const link = document.createElement("a");
    const address = new URL(location.href);
    address.searchParams.set("draft", name.slice(form.dataset.new.length));
    link.href = address.href;
    link.textContent = `Continue with ${said.instrument || "an instrument without a name"}, ${when}`;
    const drop = document.createElement("button");
    drop.type = "button";
    drop.textContent = "Discard";
    drop.setAttribute("aria-label", `Discard ${said.instrument || "the instrument without a name"}, ${when}`);
    drop.addEventListener("click", () => {
      localStorage.removeItem(name);
      item.remove();
      place.hidden = !place.querySelector("li");
      document.getElementById("main").focus();
    });
    item.append(link, drop);
    place.querySelector("ul").append(item);
  }
  place.hidden = !names.length;
};

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
  document.getElementById("drafts")?.setAttribute("hidden", "");
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
  show_unsaved(form);
  if (form.dataset.live) redraw(form);
};

// Saving ---------------------------------------------------------------------------------------

const save = async (form, button) => {
  button.disabled = true;
  saved_last = true;
  const text = text_of(form);
  try {
    const answer = await send(button.dataset.save, form);
    const html = await answer.text();
    const sent = new DOMParser().parseFromString(html, "text/html");
    if (answer.ok) {
      const saved = sent.querySelector("[data-version]");
      if (!saved) throw new Error("an answer of another kind");
      const later = text_of(form) !== text;
      if (saved && form.elements.version) form.elements.version.value = saved.dataset.version;
      if (saved && saved.dataset.file && form.elements.file) form.elements.file.value = saved.dataset.file;
      forget(form);
      if (saved.dataset.draft) {
        form.dataset.draft = saved.dataset.draft;
        delete form.dataset.new;
      }
      const notice = document.getElementById("unsaved");
      if (notice) notice.hidden = true;
      put(html);
      if (sent.title) document.title = sent.title;
      // What was entered while it was being saved is not in the file yet.
      stored.set(form, later ? text : text_of(form));
      if (later) keep(form);
      show_unsaved(form);
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
      if (!list) throw new Error(`an answer of another kind: ${answer.status}`);
      mark_fields(form, list);
      tell("Not saved.");
    }
  } catch {
    server_lost(form);
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
  stored.set(form, text_of(form));
  drawn.set(form, text_of(form));
  begun_of(form);
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
    const address = new URL(location.href);
    address.searchParams.delete("draft");
    if (address.href === location.href) location.reload();
    else location.replace(address);
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
    details.open = false;
    server_lost(form);
  }
}, true);
