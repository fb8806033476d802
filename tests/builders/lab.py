"""A JupyterLab of its own on this machine, and a browser in front of it, as a person would use them."""

from __future__ import annotations

import json
import os
import re
import shutil
import socket
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from pathlib import Path
from urllib.request import urlopen

from necrostats import bundled

BROWSER = "/usr/bin/chromium"
ADDRESS = "127.0.0.1"
QUIET = (
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
)
DARK, LIGHT = "JupyterLab Dark", "JupyterLab Light"
LONGEST_RUN = 180
ERRORS = '[data-mime-type="application/vnd.jupyter.error"], [data-mime-type="application/vnd.jupyter.stderr"]'


def missing() -> str:
    """What a person in front of JupyterLab would lack on this machine; "" where all is there."""
    if find_spec("playwright") is None:
        return "playwright is not installed (pip install playwright)"
    return "" if Path(BROWSER).exists() else f"there is no browser at {BROWSER}"


def beside_the_data(folder: Path) -> Path:
    """A folder with the notebooks and the invented registry beside each other, as a clone has them."""
    shutil.copytree(bundled.notebooks(), folder / "notebooks")
    shutil.copytree(bundled.synthetic_registry() / "tidy", folder / "synthetic_registry" / "tidy")
    return folder


def _settings(folder: Path, theme: str) -> None:
    """No news, no windows over the page, every cell on the page at once, and the theme."""
    chosen = {
        "notebook-extension/tracker": {"windowingMode": "none"},
        "apputils-extension/notification": {"fetchNews": "false", "checkForUpdates": False},
        "apputils-extension/themes": {"theme": theme},
    }
    for name, values in chosen.items():
        path = folder / "@jupyterlab" / f"{name}.jupyterlab-settings"
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(json.dumps(values), encoding="utf-8")


@contextmanager
def served(work: Path, private: Path, *, theme: str = LIGHT) -> Iterator[str]:
    """The address of a JupyterLab whose files are those of `work`; it is ended afterwards."""
    names = ("JUPYTER_CONFIG_DIR", "JUPYTER_DATA_DIR", "JUPYTER_RUNTIME_DIR", "IPYTHONDIR", "JUPYTERLAB_SETTINGS_DIR")
    rooms = {name: str(private / name.lower()) for name in names}
    _settings(Path(rooms["JUPYTERLAB_SETTINGS_DIR"]), theme)
    package = str(Path(bundled.__file__).resolve().parents[1])
    port = _free_port()
    options = (
        "--no-browser",
        "--allow-root",
        f"--ServerApp.ip={ADDRESS}",
        f"--ServerApp.port={port}",
        "--ServerApp.port_retries=0",
        "--IdentityProvider.token=here",
        f"--ServerApp.root_dir={work}",
    )
    with (private / "lab.log").open("w") as log:
        lab = subprocess.Popen(
            [sys.executable, "-m", "jupyterlab", *options],
            env={**os.environ, **rooms, "PYTHONPATH": package},
            stdin=subprocess.DEVNULL,
            stdout=log,
            stderr=log,
        )
        try:
            _wait_for(f"http://{ADDRESS}:{port}/api?token=here", private / "lab.log")
            yield f"http://{ADDRESS}:{port}"
        finally:
            lab.terminate()
            lab.wait(30)


def _free_port() -> int:
    with socket.socket() as free:
        free.bind((ADDRESS, 0))
        return free.getsockname()[1]


def _wait_for(address: str, log: Path) -> None:
    for _ in range(120):
        try:
            urlopen(address, timeout=5).close()
            return
        except OSError:
            time.sleep(0.5)
    raise RuntimeError(f"JupyterLab did not answer: {log.read_text()[-800:]}")


class OpenNotebook:
    """A notebook in a window of the browser: what a person can do with it, and what is seen."""

    def __init__(self, page, address: str, path: str) -> None:
        self.page = page
        page.goto(f"{address}/lab/tree/{path}?token=here&reset")
        page.wait_for_selector(".jp-Notebook .jp-CodeCell", timeout=60_000)
        page.get_by_text("(ipykernel) | Idle").wait_for(timeout=60_000)

    def write_parameter(self, name: str, value: str) -> None:
        """Type a value over the one that a parameter has, as the text of its line."""
        line = self.page.locator(".jp-CodeCell").first.locator(".cm-line", has_text=re.compile(rf"^{name}: "))
        kind = line.inner_text().split("=")[0]
        line.click()
        self.page.keyboard.press("Home")
        self.page.keyboard.press("Shift+End")
        self.page.keyboard.insert_text(f"{kind}= {value}")

    def run_all(self) -> None:
        """Run, Run All Cells; come back when the last cell has run, or one has failed."""
        for prompt in self.page.locator(".jp-CodeCell .jp-InputPrompt").all():
            prompt.evaluate("prompt => { prompt.textContent = '' }")
        self.page.get_by_role("menuitem", name="Run", exact=True).click()
        self.page.get_by_text("Run All Cells", exact=True).click()
        done = "[...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')].every(p => /\\d/.test(p.textContent))"
        failed = f"document.querySelector({json.dumps(ERRORS)}) !== null"
        self.page.wait_for_function(f"() => {done} || {failed}", timeout=LONGEST_RUN * 1000)

    @property
    def errors(self) -> list[str]:
        """The text of every error and warning that is shown."""
        return self.page.locator(ERRORS).all_inner_texts()

    @property
    def shown(self) -> str:
        """Everything the cells put out, as text; blanks that hold words together are blanks."""
        return "\n".join(self.page.locator(".jp-OutputArea-output").all_inner_texts()).replace("\xa0", " ")

    def sizes(self, selector: str) -> list[tuple[int, int]]:
        """Width and height on the screen of what matches, in its outputs, and is meant to be seen at once."""
        script = (
            "all => all.filter(one => !one.closest('details')).map(one => "
            "{ const box = one.getBoundingClientRect(); return [box.width, box.height] })"
        )
        return [tuple(each) for each in self.page.locator(f".jp-OutputArea-output {selector}").evaluate_all(script)]

    def of(self, selector: str, look: str) -> set[str]:
        """The computed values of a property of what matches, in the outputs."""
        script = f"all => all.map(one => getComputedStyle(one).getPropertyValue('{look}'))"
        return set(self.page.locator(f".jp-OutputArea-output {selector}").evaluate_all(script))


@contextmanager
def browser(**look) -> Iterator:
    """A window of the browser; `look` is how it shows pages: color_scheme, viewport, bypass_csp …"""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        opened = driver.chromium.launch(executable_path=BROWSER, args=list(QUIET))
        try:
            yield opened.new_page(**{"viewport": {"width": 1400, "height": 1000}, **look})
        finally:
            opened.close()
