"""JupyterLab on this computer alone, in a folder of its own, with kernels that can be killed."""

from __future__ import annotations

import json
import os
import secrets
import signal
import subprocess
import sys
import time
from pathlib import Path
from urllib.request import urlopen

ROOT = Path(__file__).parents[2]
PATIENCE = 60  # seconds until what does not come is taken to be broken


class Laboratory:
    """A JupyterLab server over ``folder``. Its settings, kernels' files and token are its own."""

    def __init__(self, home: Path) -> None:
        self.folder = home / "work"
        self._runtime = home / "runtime"
        self._token = secrets.token_hex(16)
        settings = home / "settings"
        news = settings / "@jupyterlab" / "apputils-extension"
        for folder in (self.folder, self._runtime, news):
            folder.mkdir(parents=True)
        (news / "notification.jupyterlab-settings").write_text(
            json.dumps({"fetchNews": "false", "checkForUpdates": False})
        )
        own = {
            "HOME": home,
            "IPYTHONDIR": home / "ipython",
            "JUPYTER_CONFIG_DIR": home / "config",
            "JUPYTER_DATA_DIR": home / "data",
            "JUPYTER_RUNTIME_DIR": self._runtime,
            "JUPYTERLAB_SETTINGS_DIR": settings,
            "JUPYTERLAB_WORKSPACES_DIR": home / "workspaces",
            "JUPYTER_TOKEN": self._token,
            "PYTHONPATH": ROOT,
        }
        self._log = home / "server.log"
        self._server = subprocess.Popen(
            [sys.executable, "-m", "jupyterlab", "--no-browser", "--ip=127.0.0.1", "--port=0"]
            + ["--LabApp.load_other_extensions=False"]
            + (["--allow-root"] if os.name == "posix" and os.geteuid() == 0 else []),
            cwd=self.folder,
            env=os.environ | {name: str(value) for name, value in own.items()},
            stdout=self._log.open("wb"),
            stderr=subprocess.STDOUT,
        )
        try:
            self._url = self._started()
        except BaseException:
            self.stop()
            raise

    def _started(self) -> str:
        """The server's address, once it answers."""
        said = self._runtime / f"jpserver-{self._server.pid}.json"
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end and self._server.poll() is None:
            try:
                url = str(json.loads(said.read_text())["url"])
                with urlopen(f"{url}api", timeout=PATIENCE):
                    return url
            except (OSError, ValueError):  # not there yet, half written, or not listening
                time.sleep(0.05)
        raise RuntimeError(f"JupyterLab did not start:\n{self._log.read_text()}")

    def notebook(self, name: str, *cells: str) -> str:
        """Write a notebook of code cells; its address, alone on the page."""
        import nbformat

        book = nbformat.v4.new_notebook(cells=[nbformat.v4.new_code_cell(cell) for cell in cells])
        book.metadata["kernelspec"] = {"name": "python3", "display_name": "Python 3"}
        nbformat.write(book, self.folder / name)
        return f"{self._url}doc/tree/{name}?token={self._token}"

    def stop(self) -> None:
        """Stop the server and with it all its kernels."""
        self._server.send_signal(signal.SIGTERM)
        self._server.wait(PATIENCE)
