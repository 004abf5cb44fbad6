"use strict";
// What the form of an examination does beyond bench.js: rows of documents, answers that pick
// their button, the way from question to question, and what another answer would say.

const form = document.getElementById("examination");
const documents = document.getElementById("documents");
const answered = () => form.dispatchEvent(new CustomEvent("answered"));

// Documents ------------------------------------------------------------------------------------

const number_of = (name) => Number(/^documents\.([0-9]{1,6})\.what$/.exec(name)?.[1] ?? -1);
const numbers = () => [...documents.querySelectorAll("input")].map((field) => number_of(field.name)).filter((n) => n >= 0);

const add_document = (number) => {
  const made = document.getElementById("document-template").content.cloneNode(true);
  for (const element of made.querySelectorAll("*")) {
    for (const name of ["id", "name", "for", "aria-describedby", "data-remove"]) {
      const value = element.getAttribute(name);
      if (value) element.setAttribute(name, value.replace(".-1.", `.${number}.`).replace(/-0\b/g, `-${number + 1}`));
    }
    if (element.matches("legend, button")) element.textContent = element.textContent.replace(" 0", ` ${number + 1}`);
  }
  documents.append(made);
  return document.getElementById(`document-${number + 1}`);
};

// A draft may have more documents than the page; bench.js fills only what it finds there.
const restore_documents = () => {
  const draft = JSON.parse(localStorage.getItem(`draft:${form.dataset.draft}`) || "null");
  const before = numbers().length;
  for (const [name, value] of draft ? draft.fields : []) {
    const number = number_of(name);
    if (number >= 0 && !numbers().includes(number)) add_document(number);
    if (name.startsWith("documents.") && form.elements[name]) form.elements[name].value = value;
  }
  for (const details of form.querySelectorAll("details.further")) {
    const held = [...details.querySelectorAll("input")].some((field) =>
      ["radio", "checkbox"].includes(field.type) ? field.checked : field.value);
    if (held) details.open = true;
  }
  if (numbers().length > before) answered();
};

// Answers --------------------------------------------------------------------------------------

form.addEventListener("input", (event) => {
  const picks = event.target.dataset.picks;
  if (!picks) return;
  const name = event.target.name.replace(/\.(one_of\.[0-9]+|other)$/, ".state");
  for (const radio of form.querySelectorAll('input[type="radio"]')) {
    if (radio.name === name && radio.value === picks) radio.checked = true;
  }
}, true);

form.addEventListener("submit", (event) => {
  // Only a button that says where to, such as that of the note, sends the form.
  if (!event.submitter?.hasAttribute("formaction")) event.preventDefault();
});
form.addEventListener("keydown", (event) => {
  // Enter in a field of one line would send the form.
  if (event.key === "Enter" && event.target.matches("input")) event.preventDefault();
});

// From question to question --------------------------------------------------------------------

const focus_in = (question) => {
  const field = question.querySelector("input:checked, input:not([type=radio]), input, select, textarea");
  question.closest("details")?.setAttribute("open", "");
  (field || question).focus({ preventScroll: true });
  question.scrollIntoView({ block: "start" });
};

document.addEventListener("keydown", (event) => {
  if (!event.altKey || event.ctrlKey || event.metaKey || !["ArrowDown", "ArrowUp"].includes(event.key)) return;
  const questions = [...form.querySelectorAll(".question")];
  const here = questions.indexOf(document.activeElement?.closest(".question"));
  const next = event.key === "ArrowDown" ? here + 1 : (here < 0 ? questions.length : here) - 1;
  if (!questions[next]) return;
  event.preventDefault();
  focus_in(questions[next]);
});

const ask_what_if = async (button) => {
  const place = button.closest(".what-if").querySelector("[data-answer]");
  const answer = document.getElementById(button.dataset.select).value;
  const address = new URLSearchParams({ piece: button.dataset.whatIf, answer });
  button.disabled = true;
  try {
    const sent = new DOMParser().parseFromString(await (await send(`/examine/what-if?${address}`, form)).text(), "text/html");
    const made = sent.getElementById("filling") || sent.getElementById("trouble");
    if (made) {
      made.removeAttribute("id");
      place.replaceChildren(made);
      tell(made.querySelector("[aria-label]")?.getAttribute("aria-label") || made.textContent.trim());
    }
  } catch {
    server_lost(form);
  } finally {
    button.disabled = false;
  }
};

document.addEventListener("click", (event) => {
  const jump = event.target.closest("a[data-jump]");
  const target = jump && document.getElementById(jump.getAttribute("href").slice(1));
  if (target) {
    event.preventDefault();
    focus_in(target);
  }
  if (event.target.closest("[data-add]")) {
    focus_in(add_document(Math.max(-1, ...numbers()) + 1));
    answered();
  }
  const remove = event.target.closest("[data-remove]");
  if (remove) {
    document.getElementById(remove.dataset.remove).remove();
    document.querySelector("[data-add]").focus();
    answered();
  }
  const over = event.target.closest("[data-over]");
  if (over) {
    form.elements.version.value = over.dataset.over;
    over.closest("dialog").close();
    form.querySelector("[data-save]").click();
  }
  const asks = event.target.closest("[data-what-if]");
  if (asks) ask_what_if(asks);
});

// What an open row shows stays until it has been worked out anew, so that nothing jumps.
const said = document.getElementById("panel-said");
let shown = new Map();
const remember = () => {
  const open = [...said.querySelectorAll("details[open][id]")];
  shown = new Map(open.map((row) => [row.id, row.querySelector("[data-filled]").firstElementChild]));
};
form.addEventListener("input", remember);
form.addEventListener("answered", remember);
said.addEventListener("redrawn", () => {
  for (const [id, filling] of shown) {
    document.getElementById(id)?.querySelector("[data-filled]")?.replaceChildren(filling);
  }
});

// A new examination that has been saved is an old one from then on.
document.getElementById("saving").addEventListener("redrawn", () => {
  const file = form.elements.file.value;
  if (!file || new URLSearchParams(location.search).get("file") === file) return;
  history.replaceState(null, "", `/examine?${new URLSearchParams({ file })}`);
});

restore_documents();
