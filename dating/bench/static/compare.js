"use strict";
// While instruments are being set side by side the page says how far that is. The browser goes to the
// comparison by itself, so this can fail without harm.

const watch_comparison = () => {
  const place = document.getElementById("comparing");
  if (!place || !place.hidden) return;
  place.hidden = false;
  place.textContent = "Setting them side by side";
  const ask = async () => {
    try {
      put(await (await fetch("/compare/progress", { method: "POST" })).text());
    } catch {
      return; // the browser says what is wrong when the comparison itself does not come
    }
    setTimeout(ask, 500);
  };
  setTimeout(ask, 500);
};

document.addEventListener("submit", ({ target }) => {
  if (new URL(target.action).pathname.startsWith("/compare")) watch_comparison();
});
document.addEventListener("click", ({ target, ctrlKey, metaKey, shiftKey }) => {
  const link = target.closest("a[href^='/compare']");
  if (link && !ctrlKey && !metaKey && !shiftKey) watch_comparison();
});
// A page that is come back to from the browser's memory is not waiting any more.
window.addEventListener("pageshow", ({ persisted }) => {
  const place = document.getElementById("comparing");
  if (persisted && place) location.reload();
});
