"""The wheel alone, in a clean environment: only that shows what is missing from it."""

import json
import os
import signal
import subprocess
import sys
import urllib.request
import venv
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def clean_install(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel, install it where nothing else is, and return that environment's bin."""
    folder = tmp_path_factory.mktemp("wheel")
    subprocess.run(
        [sys.executable, "-m", "build", "--wheel", "--outdir", str(folder), str(ROOT)],
        check=True,
        capture_output=True,
    )
    (wheel,) = folder.glob("lathhouse-*.whl")
    venv.create(folder / "env", with_pip=True)
    bin_folder = folder / "env" / "bin"
    subprocess.run(
        [bin_folder / "python", "-m", "pip", "install", "--quiet", str(wheel)],
        check=True,
        capture_output=True,
    )
    return bin_folder


def test_the_installed_wheel_serves_the_app_and_its_demo(clean_install: Path, tmp_path: Path):
    """Loads the page, its worker's file list and every file on it from the wheel alone."""
    server = subprocess.Popen(
        [clean_install / "lathhouse", "serve", "--demo", "--port", "0", "--data", tmp_path / "d"],
        cwd=tmp_path,
        env={**os.environ, "PYTHONUNBUFFERED": "1"},
        stdout=subprocess.PIPE,
        text=True,
    )
    try:
        address = next(
            word
            for line in iter(server.stdout.readline, "")
            for word in line.split()
            if word.startswith("http://")
        )
        page = urllib.request.urlopen(address, timeout=20).read().decode()
        assert "<title>" in page
        shell = urllib.request.urlopen(address.rstrip("/") + "/shell.js", timeout=20)
        listed = json.loads(shell.read().decode().split("=", 1)[1].rstrip().rstrip(";"))
        assert len(listed["files"]) > 20
        for name in listed["files"]:
            answer = urllib.request.urlopen(address.rstrip("/") + name, timeout=20)
            assert answer.status == 200
    finally:
        server.send_signal(signal.SIGTERM)
        assert server.wait(timeout=20) == 0
