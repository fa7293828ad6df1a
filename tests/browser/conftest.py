"""A real JupyterLab on copies of the notebooks, and a real headless Chromium that watches what it asks for."""

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
BROWSER = next((p for p in map(shutil.which, ("chromium", "chromium-browser", "google-chrome", "msedge")) if p), None)
SWITCHES = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
]  # fmt: skip
INSIDE = re.compile(r"^(?:(?:https?|wss?)://(?:127\.0\.0\.1|localhost)[:/]|data:|blob:)")
#: Kernel of the notebook in front is connected and has nothing to do.
IDLE = """() => {
  const front = window.jupyterapp?.shell?.currentWidget;
  const kernel = front?.sessionContext?.session?.kernel;
  return !!kernel && kernel.connectionStatus === 'connected' && kernel.status === 'idle';
}"""


@pytest.fixture(scope="session")
def lab_address(tmp_path_factory):
    """Address of a lab that serves copies, with its own settings, on a free port of the loopback."""
    home = tmp_path_factory.mktemp("lab")
    shutil.copytree(ROOT / "notebooks", home / "books", ignore=shutil.ignore_patterns(".ipynb_checkpoints"))
    settings = home / "settings"
    settings.mkdir()
    quiet = {"@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": False}}
    (settings / "overrides.json").write_text(json.dumps(quiet))
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    env = {**os.environ, "HOME": str(home)}
    env |= {f"JUPYTER_{n}_DIR": str(home / n.lower()) for n in ("CONFIG", "DATA", "RUNTIME")}
    command = [
        sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1", f"--port={port}",
        "--ServerApp.port_retries=0", "--IdentityProvider.token=", f"--ServerApp.root_dir={home / 'books'}",
        f"--LabApp.app_settings_dir={settings}", "--LabApp.extension_manager=readonly",
        "--LabApp.expose_app_in_browser=True",
    ]  # fmt: skip
    if getattr(os, "geteuid", lambda: 1)() == 0:
        command.append("--allow-root")
    log = home / "log.txt"
    with log.open("w") as out, subprocess.Popen(command, env=env, stdout=out, stderr=subprocess.STDOUT) as server:
        address = f"http://127.0.0.1:{port}"
        try:
            _wait_for(f"{address}/api/status", server, log)
            yield address
        finally:
            server.terminate()
            server.wait(30)


def _wait_for(url, server, log):
    for _ in range(400):
        assert server.poll() is None, log.read_text()[-2000:]
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except OSError:
            time.sleep(0.1)
    pytest.fail(f"the lab did not start: {log.read_text()[-2000:]}")


@pytest.fixture(scope="session")
def page(tmp_path_factory):
    """A browser page that keeps the addresses it asked for outside this computer, in ``page.outside``."""
    if BROWSER is None:
        pytest.skip("no Chromium is installed")
    sync_api = pytest.importorskip("playwright.sync_api")
    with sync_api.sync_playwright() as play:
        profile = str(tmp_path_factory.mktemp("profile"))
        context = play.chromium.launch_persistent_context(
            profile, executable_path=BROWSER, headless=True, args=SWITCHES, viewport={"width": 1280, "height": 1800}
        )
        one = context.new_page()
        one.outside = []
        context.on("request", lambda r: None if INSIDE.match(r.url) else one.outside.append(r.url))
        yield one
        context.close()


@pytest.fixture
def run_all(lab_address, page):
    """Open a notebook and run all its cells; returns the page."""

    def run(name):
        page.goto(f"{lab_address}/lab/tree/{name}?reset")
        page.wait_for_function(IDLE, timeout=90_000)
        page.evaluate("() => window.jupyterapp.commands.execute('notebook:run-all-cells')")
        return page

    return run
