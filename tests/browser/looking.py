"""What tests in a browser share: pages that report their faults, and what is checked on each."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import pytest
from axe_playwright_python.sync_playwright import Axe

PHONE, DESK = (360, 740), (1280, 900)
SEEN = [  # every size and every scheme of colours; each with each is left to slow runs
    pytest.param(PHONE, True, id="phone-dark"),
    pytest.param(DESK, False, id="desk-light", marks=pytest.mark.long),
    pytest.param(PHONE, False, id="phone-light", marks=pytest.mark.slow),
    pytest.param(DESK, True, id="desk-dark", marks=pytest.mark.slow),
]
MAKER = "priors/marrowby.yaml"
EXAMINATION = "demo_data/examinations/M-003.yaml"
_WATCH = """
document.addEventListener("securitypolicyviolation", (event) =>
  console.error(`policy: ${event.violatedDirective} ${event.blockedURI} ${event.sourceFile}`));
"""


@dataclass(frozen=True)
class Served:
    """A folder and the address under which it is served."""

    root: Path
    address: str


class Looker:
    """Opens pages of one browser, and collects what is wrong with them."""

    def __init__(self, browser, served: Served) -> None:
        self.browser, self.served = browser, served
        self.faults: list[str] = []
        self._allowed: list[str] = []
        self._contexts = []

    def allow(self, pattern: str) -> None:
        """Expect errors that look like this, such as an answer of 409."""
        self._allowed.append(pattern)

    def context(self, size=DESK, *, dark: bool = False, **more):
        """Open a browser that keeps nothing of others."""
        made = self.browser.new_context(
            viewport={"width": size[0], "height": size[1]},
            color_scheme="dark" if dark else "light",
            reduced_motion="reduce",
            base_url=self.served.address,
            **more,
        )
        made.set_default_timeout(120_000)
        made.add_init_script(_WATCH)
        made.on("request", self._asked)
        made.on("console", self._said)
        made.on("weberror", lambda error: self._fault(f"failed: {error.error}"))
        self._contexts.append(made)
        return made

    def at(self, size=DESK, *, dark: bool = False, **more):
        """Open an empty page."""
        return self.context(size, dark=dark, **more).new_page()

    def close(self) -> None:
        for context in self._contexts:
            context.close()

    def _asked(self, request) -> None:
        address = request.url
        if not address.startswith((f"{self.served.address}/", "data:", "blob:")):
            self._fault(f"asked elsewhere: {address}")

    def _said(self, message) -> None:
        if message.type in {"error", "warning"}:
            self._fault(f"{message.type}: {message.text} ({message.page.url})")

    def _fault(self, words: str) -> None:
        if not any(re.search(pattern, words) for pattern in self._allowed):
            self.faults.append(words)


def violations(page) -> list[str]:
    """Say what axe finds wrong, each with the elements it is wrong with."""
    found = Axe().run(page, options={"resultTypes": ["violations"]}).response["violations"]
    return [
        f"{one['id']}: {one['help']}: "
        + "; ".join(f"{node['target']} {node['failureSummary']}" for node in one["nodes"][:4])
        for one in found
    ]


def sideways(page) -> str:
    """Say what sticks out to the right of the page, if anything makes it scroll."""
    return page.evaluate("""() => {
      const wide = document.documentElement.clientWidth;
      if (document.documentElement.scrollWidth <= wide) return "";
      const out = [...document.querySelectorAll("body *")]
        .filter((e) => e.getBoundingClientRect().right > wide + 1)
        .filter((e) => !e.closest(".wide, pre, .said"));
      return out.slice(0, 5).map((e) => `${e.tagName}.${e.className} #${e.id}`).join(", ") || "?";
    }""")


def small_targets(page) -> list[str]:
    """Name what can be pressed and is smaller than 44 px in both directions."""
    return page.evaluate("""() => [...document.querySelectorAll("button, .act, select, summary")]
      .filter((e) => e.checkVisibility({ visibilityProperty: true, opacityProperty: true }))
      .map((e) => [e, e.getBoundingClientRect()])
      .filter(([, box]) => box.width > 0 && box.height < 43.5)
      .map(([e, box]) => `${e.tagName} ${e.textContent.trim().slice(0, 40)} ${box.height}`)""")
