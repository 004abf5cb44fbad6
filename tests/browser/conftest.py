"""A real server over a copy of the demo, and one real browser that looks at it.

Without Chromium these tests are skipped; where the variable CI says true they fail instead.
"""

import os
import shutil
import socket
import threading
import time
from contextlib import contextmanager
from pathlib import Path

import pytest
import uvicorn
import yaml
from playwright.sync_api import expect, sync_playwright

from dating.bench.app import make_app
from dating.bench.guard import guard_for
from dating.bench.workspace import Workspace
from tests.browser.looking import Looker, Served
from tests.serving import copied_demo

CHROMIUM = os.environ.get("CHROMIUM", "/usr/bin/chromium")
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
CLAIMS = ("dowels-early", "few-varnished-screws", "of-one-piece")
"""Few enough that a page is weighed in seconds."""
PATIENCE = 120
expect.set_options(timeout=30_000)
"""A note is set in a second, and in ten where other tests run beside it."""


@pytest.fixture(scope="module")
def served(tmp_path_factory):
    """Serve a copy of the demo on a free port of this machine, in a thread."""
    root = copied_demo(tmp_path_factory.mktemp("served"))
    path = root / "demo_data" / "marrowby_claims.yaml"
    data = yaml.safe_load(path.read_text("utf-8"))
    data["claims"] = [claim for claim in data["claims"] if claim["claim"] in CLAIMS]
    path.write_text(yaml.safe_dump(data, sort_keys=False), encoding="utf-8")
    with serving(root) as address:
        yield Served(root, address)


@contextmanager
def serving(root, port=0):
    """Serve a folder in a thread, on a port of this machine: a free one unless it is named."""
    listener = socket.socket()
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    listener.bind(("127.0.0.1", port))
    port = listener.getsockname()[1]
    app = make_app(Workspace(root), guard_for("127.0.0.1", port))
    config = uvicorn.Config(
        app,
        http="h11",
        ws="none",
        lifespan="off",
        log_level="warning",
        access_log=False,
        timeout_graceful_shutdown=1,
    )
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listener]}, daemon=True)
    thread.start()
    ends = time.monotonic() + PATIENCE
    while not server.started and thread.is_alive() and time.monotonic() < ends:
        time.sleep(0.02)
    assert server.started
    yield f"http://127.0.0.1:{port}"
    server.should_exit = True
    thread.join(PATIENCE)
    listener.close()


@pytest.fixture(scope="module")
def chromium():
    """Start the one browser; ended with the module, so that other tests have their own loops."""
    path = CHROMIUM if Path(CHROMIUM).is_file() else shutil.which(CHROMIUM)
    if path is None:
        words = f"no browser: {CHROMIUM} is missing; install Chromium, or name one in CHROMIUM"
        if os.environ.get("CI", "").lower() == "true":
            pytest.fail(words)
        pytest.skip(words)
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=list(QUIET))
        yield browser
        browser.close()


@pytest.fixture
def look(chromium, served):
    """Open pages; the test fails where one says an error, asks elsewhere or breaks the policy."""
    looker = Looker(chromium, served)
    yield looker
    looker.close()
    assert looker.faults == []


@pytest.fixture
def page(look):
    """Give one page at a wide desk."""
    return look.at()
