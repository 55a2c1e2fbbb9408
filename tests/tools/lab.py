"""A real JupyterLab in a real Chromium, for the browser tests and the slider benchmark."""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest

from tests.conftest import find_chromium

ROOT = Path(__file__).parents[2]

CHROMIUM = find_chromium()

QUIET = (
    "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
)  # fmt: skip


PLANTED = (
    "jupyterlab", "voila", "numpy", "numba", "matplotlib", "jinja2", "markdown_it", "plutoprint",
    "ipykernel", "ipykernel_launcher", "jupyter_core", "traitlets", "tomllib", "sitecustomize",
    "jupyter_config", "jupyter_lab_config", "jupyter_server_config", "voila_config",
    "ipython_config", "ipython_kernel_config",
)  # fmt: skip
"""Modules and settings that something started in their folder might take for its own."""


def plant(folder):
    """Put all these into a folder; whichever is run leaves a mark, whose path comes back."""
    mark = folder / "mark"
    for name in PLANTED:
        code = f"open({str(mark)!r}, 'a').write({name + ' '!r})\n"
        (folder / f"{name}.py").write_text(code, encoding="utf-8")
    (folder / ".numba_config.yaml").write_text(f"cache_dir: {folder / 'cache'}\n")
    (folder / "matplotlibrc").write_text("text.usetex: True\n")
    return mark


@contextlib.contextmanager
def jupyter_lab(folder):
    """Serve a folder (a copy: JupyterLab saves on its own); yields the address with its token."""
    from suspkit.cli import lab_command

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    token = secrets.token_hex(16)
    command, environment = lab_command(folder, port=port, browser=False)
    command = [part for part in command if not part.endswith(".ipynb")]
    command += [f"--IdentityProvider.token={token}", "--ServerApp.port_retries=0"]
    for name in ("CONFIG_DIR", "DATA_DIR", "RUNTIME_DIR"):
        environment[f"JUPYTER_{name}"] = str(folder / f".{name.lower()}")
    environment["IPYTHONDIR"] = str(folder / ".ipython")
    environment["PYTHONPATH"] = os.pathsep.join(filter(None, [str(ROOT), os.getenv("PYTHONPATH")]))
    log = folder / "lab.log"
    with log.open("w") as out:
        server = subprocess.Popen(command, cwd=folder, env=environment, stdout=out, stderr=out)
    address = f"http://127.0.0.1:{port}"
    try:
        end = time.monotonic() + 180
        while True:
            with contextlib.suppress(OSError):
                urllib.request.urlopen(f"{address}/api?token={token}", timeout=10).close()
                break
            if server.poll() is not None or time.monotonic() > end:
                raise RuntimeError(f"no JupyterLab: {log.read_text()[-2000:]}")
            time.sleep(0.1)
        yield address, token
    finally:
        server.terminate()
        server.wait(timeout=20)


@contextlib.contextmanager
def browser_page(*, width=1366, height=768, **options):
    """A page of a headless Chromium; more options as Playwright's ``new_page`` has them."""
    from playwright.sync_api import sync_playwright

    sandbox = ["--no-sandbox"] if os.geteuid() == 0 else []
    with sync_playwright() as play:
        browser = play.chromium.launch(executable_path=CHROMIUM, args=[*QUIET, *sandbox])
        page = browser.new_page(viewport={"width": width, "height": height}, **options)
        try:
            yield page
        finally:
            browser.close()


def open_notebook(page, address, token, name):
    """Open a notebook in JupyterLab and wait for its kernel."""
    page.goto(f"{address}/lab/tree/{name}?token={token}&reset")
    page.wait_for_selector(".jp-Notebook .jp-Cell", timeout=60_000)
    wait_idle(page)


def wait_idle(page, timeout=180):
    """Wait until the status bar says the kernel is idle, and stays so for a moment."""
    quiet_since, end = None, time.monotonic() + timeout
    while time.monotonic() < end:
        idle = page.evaluate(
            "[...document.querySelectorAll('.jp-StatusBar-Widget *')]"
            ".some(e => e.textContent.trim().endsWith('| Idle'))"
        )
        if not idle:
            quiet_since = None
        elif quiet_since is None:
            quiet_since = time.monotonic()
        elif time.monotonic() - quiet_since > 0.7:
            return
        page.wait_for_timeout(100)
    raise TimeoutError("the kernel did not become idle")


def run_all(page, timeout=300):
    """Run every cell, stored outputs and their numbers gone first, and wait for the end.

    The numbers beside the cells tell it: the status bar may say idle before the first cell has
    begun.
    """
    page.click(".jp-Notebook .jp-Cell >> nth=0")
    page.keyboard.press("Escape")
    for menu, does in (("Edit", "Clear Outputs of All Cells"), ("Run", "Run All Cells")):
        page.click(f".lm-MenuBar-itemLabel:text-is('{menu}')")
        page.click(f".lm-Menu-itemLabel:text-is('{does}')")
        if menu == "Edit":
            page.wait_for_function(f"({NUMBERS})().every(n => n === '[ ]:')")
    page.wait_for_function(
        f"""() => {{
          const numbers = ({NUMBERS})(), waiting = numbers.filter(n => n === '[*]:').length;
          return numbers.at(-1) !== '[ ]:' && !waiting || document.querySelector(
            '[data-mime-type="application/vnd.jupyter.error"]') && !waiting;
        }}""",
        timeout=1000 * timeout,
    )
    wait_idle(page)


NUMBERS = """() => [...document.querySelectorAll('.jp-CodeCell .jp-InputPrompt')]
  .map(e => e.innerText.trim())"""


def stop_kernels(address, token):
    """Stop all kernels, that the next notebook has the machine to itself."""
    head = {"Authorization": f"token {token}"}
    asked = urllib.request.Request(f"{address}/api/kernels", headers=head)
    with urllib.request.urlopen(asked, timeout=60) as answer:
        kernels = json.load(answer)
    for kernel in kernels:
        asked = urllib.request.Request(
            f"{address}/api/kernels/{kernel['id']}", headers=head, method="DELETE"
        )
        urllib.request.urlopen(asked, timeout=60).close()


def copy_guide(folder):
    """Copy notebooks and data for JupyterLab to work on."""
    for part in ("notebooks", "data"):
        shutil.copytree(
            ROOT / part, folder / part, ignore=shutil.ignore_patterns("sheets", ".ipynb*")
        )
    return folder


PYTHON = sys.executable


def listens_at(process):
    """Addresses at which a process and its children wait to be called."""
    psutil = pytest.importorskip("psutil")
    top = psutil.Process(process.pid)
    return {
        at.laddr.ip
        for each in [top, *top.children(recursive=True)]
        for at in each.net_connections("inet")
        if at.status == psutil.CONN_LISTEN
    }
