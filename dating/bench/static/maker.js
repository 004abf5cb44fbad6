"use strict";
// The frames of the wall chart scroll together. On the page of a judgement three handles stand on
// rails below the picture: they are dragged or moved with keys, and write into the three fields,
// which are what is sent.

const frames = [...document.querySelectorAll(".wall .frame")];
for (const frame of frames) {
  frame.addEventListener("scroll", () => {
    for (const other of frames) {
      if (other !== frame && other.scrollLeft !== frame.scrollLeft) other.scrollLeft = frame.scrollLeft;
    }
  }, { passive: true });
}

const judging = document.getElementById("judge");
if (judging) {
  const MONTHS = ["January", "February", "March", "April", "May", "June", "July", "August", "September",
    "October", "November", "December"];
  const dates = judging.classList.contains("date");
  const lengths = judging.classList.contains("span");
  const rails = document.getElementById("rails");
  const knobs = [...rails.querySelectorAll(".knob")];
  const field = (knob) => judging.elements[knob.dataset.for];
  const end = (name) => Number(judging.elements[name].dataset.drawn);

  const number = (text) => {
    if (!dates) return text.trim() === "" ? NaN : Number(text);
    const parts = /^(\d{4})-(\d{2})(?:-(\d{2}))?$/.exec(text.trim());
    if (!parts || parts[2] < 1 || parts[2] > 12) return NaN;
    return Number(parts[1]) * 12 + Number(parts[2]) - 1 + (parts[3] ? (Number(parts[3]) - 1) / 31 : 0);
  };
  const year = (n) => String(Math.floor(n / 12)).padStart(4, "0");
  const written = (n) =>
    dates ? `${year(n)}-${String((Math.floor(n) % 12) + 1).padStart(2, "0")}` : String(n);
  const words = (n) => {
    if (dates) return `${MONTHS[Math.floor(n) % 12]} ${year(n)}`;
    const months = `${Math.abs(n)} ${Math.abs(n) === 1 ? "month" : "months"}`;
    return n < 0 ? `${months} before it` : months;
  };

  const place = () => {
    const values = knobs.map((knob) => number(field(knob).value));
    knobs.forEach((knob, i) => {
      const n = values[i];
      knob.parentElement.classList.toggle("lost", Number.isNaN(n));
      if (Number.isNaN(n)) return;
      const share = Math.min(Math.max((n - end("from")) / (end("to") - end("from")), 0), 1);
      for (const part of knob.parentElement.children) part.style.left = `${100 * share}%`;
      knob.classList.toggle("left", share > 0.5);
      const low = values[i - 1], high = values[i + 1];
      knob.setAttribute("aria-valuemin", String(Number.isFinite(low) ? Math.min(low, n) : Math.min(end("from"), n)));
      knob.setAttribute("aria-valuemax", String(Number.isFinite(high) ? Math.max(high, n) : Math.max(end("to"), n)));
      knob.setAttribute("aria-valuenow", String(n));
      knob.setAttribute("aria-valuetext", words(n));
    });
  };

  // A handle stops at its neighbours: earliest, likely and latest keep their order.
  const move = (knob, wanted) => {
    const i = knobs.indexOf(knob);
    const before = i > 0 ? number(field(knobs[i - 1]).value) : NaN;
    const after = i < knobs.length - 1 ? number(field(knobs[i + 1]).value) : NaN;
    let n = wanted;
    if (lengths) n = Math.max(n, 0);
    if (Number.isFinite(before)) n = Math.max(n, dates ? Math.ceil(before) : before);
    if (Number.isFinite(after)) n = Math.min(n, dates ? Math.floor(after) : after);
    if (dates) n = Math.min(Math.max(n, 12), 9999 * 12 + 11);
    const input = field(knob);
    if (n === number(input.value)) return;
    input.value = written(n);
    place();
    input.dispatchEvent(new Event("input", { bubbles: true }));
  };

  // Where a handle stands near the end of the axis, the axis grows with the next drawing.
  const widen = () => {
    const length = end("to") - end("from");
    const values = knobs.map((knob) => number(field(knob).value)).filter(Number.isFinite);
    const grown = Math.max(dates ? 12 * Math.ceil(length / 48) : Math.ceil(length / 4), 1);
    let changed = false;
    if (Math.min(...values) < end("from") + length * 0.06 && !(lengths && end("from") === 0)) {
      judging.elements.from.value = end("from") - grown;
      changed = true;
    }
    if (Math.max(...values) > end("to") - length * 0.06) {
      judging.elements.to.value = end("to") + grown;
      changed = true;
    }
    if (changed) judging.dispatchEvent(new Event("answered"));
  };

  for (const knob of knobs) {
    const rail = knob.parentElement;
    const step = () => (dates || end("to") - end("from") > 40 ? 1 : 0.5);
    const under = (event) => {
      const box = rail.getBoundingClientRect();
      const share = Math.min(Math.max((event.clientX - box.left) / box.width, 0), 1);
      return Math.round((end("from") + share * (end("to") - end("from"))) / step()) * step();
    };
    knob.addEventListener("pointerdown", (event) => {
      if (event.button) return;
      knob.setPointerCapture(event.pointerId);
      knob.focus();
      event.preventDefault();
    });
    knob.addEventListener("pointermove", (event) => {
      if (knob.hasPointerCapture(event.pointerId)) move(knob, under(event));
    });
    knob.addEventListener("pointerup", widen);
    knob.addEventListener("keydown", (event) => {
      const now = number(field(knob).value);
      const by = event.shiftKey ? 12 : 1;
      const steps = { ArrowRight: by, ArrowUp: by, ArrowLeft: -by, ArrowDown: -by, PageUp: 12, PageDown: -12 };
      const ends = { Home: "aria-valuemin", End: "aria-valuemax" };
      if (!Number.isFinite(now)) return;
      if (event.key in steps) move(knob, (dates ? Math.floor(now) : now) + steps[event.key]);
      else if (event.key in ends) move(knob, Number(knob.getAttribute(ends[event.key])));
      else return;
      event.preventDefault();
      widen();
    });
  }

  judging.addEventListener("input", place);
  judging.addEventListener("restored", place);
  document.addEventListener("redrawn", place);
  document.getElementById("redraw").hidden = true;
  rails.hidden = false;
  place();
}
