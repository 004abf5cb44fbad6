"use strict";
// The claims are weighed one after the other, in the order of the file, and each is shown as it comes.

const weigh_all = async (form) => {
  const places = [...document.querySelectorAll("[data-weigh]")];
  const shown = document.getElementById("weighed");
  shown.hidden = false;
  let done = 0;
  let troubled = 0;
  for (const place of places) {
    let html;
    while (html === undefined) {
      try {
        html = await (await send(place.dataset.weigh, form)).text();
      } catch {
        await server_lost(form);
      }
    }
    const { list: trouble } = put(html);
    if (trouble) {
      document.getElementById(`grounds-${place.dataset.row}`).replaceChildren(trouble);
      for (const cell of document.querySelectorAll(`#row-${place.dataset.row} td`)) cell.textContent = "cannot be weighed";
      trouble.removeAttribute("id");
      troubled += 1;
    }
    done += 1;
    document.getElementById("share").value = done;
    const left = troubled ? `, ${troubled} of them cannot be weighed` : "";
    document.getElementById("count").textContent = `${done} of ${places.length} weighed${left}`;
  }
  tell(`${done} of ${places.length} claims weighed.`);
};

const weighing = document.getElementById("weighing");
if (weighing) weigh_all(weighing);
