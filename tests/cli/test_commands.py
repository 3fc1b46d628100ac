"""The frame: help for everything, training's commands, and a real server."""

from __future__ import annotations

import importlib.metadata
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable
from pathlib import Path

import pytest

from service.cli import main as cli
from service.cli import serve
from service.web.visitors import is_loopback
from tests.cli.conftest import Run


def test_every_command_and_option_has_help() -> None:
    commands = {name: cli.load_command(name) for name in cli.COMMANDS}
    inner = {
        f"{name} {each}": command
        for name, group in commands.items()
        for each, command in getattr(group, "commands", {}).items()
    }
    for name, command in {**commands, **inner}.items():
        assert command.help, name
        for parameter in command.params:
            assert getattr(parameter, "help", None), (name, parameter.name)


@pytest.mark.parametrize("name", cli.COMMANDS)
def test_the_list_says_of_a_command_what_its_own_help_says(name: str) -> None:
    help_ = cli.load_command(name).help or ""
    assert cli.COMMANDS[name][1] == " ".join(help_.split("\n\n")[0].split())


def test_the_list_loads_no_command() -> None:
    program = (
        "import sys; from service.cli.main import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "bad = {'fastapi', 'sqlalchemy', 'numpy', 'onnxruntime'} & {*sys.modules}\n"
        "sys.exit(f'loaded {bad}' if bad else 0)"
    )
    for option in ("--help", "--version"):
        ran = subprocess.run(
            [sys.executable, "-c", program, option], capture_output=True, text=True, check=False
        )
        assert ran.returncode == 0, ran.stderr


def test_the_version_is_that_of_the_installation(run: Run) -> None:
    assert run("--version").out == f"tallytare {importlib.metadata.version('tallytare')}\n"


def test_an_unknown_command_is_a_usage_error(run: Run) -> None:
    ran = run("sieve")
    assert (ran.code, "No such command 'sieve'" in ran.said) == (2, True)


@pytest.mark.parametrize("command", sorted({*cli.COMMANDS} - {"train", "evaluate"}))
def test_help_is_shown(run: Run, command: str) -> None:
    ran = run(command, "--help")
    assert ran.code == 0
    assert f"tallytare {command}" in ran.out


class Entry:
    """An entry point of another installed part."""

    def __init__(self, load: Callable[[], object]) -> None:
        self.load = load


def offer(monkeypatch: pytest.MonkeyPatch, *entries: Entry) -> None:
    def entry_points(*, group: str, name: str) -> list[Entry]:
        assert (group, name) == ("tallytare.commands", "train")
        return list(entries)

    monkeypatch.setattr(importlib.metadata, "entry_points", entry_points)


def test_train_passes_everything_on(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    seen: list[list[str]] = []

    def train(arguments: list[str]) -> int:
        seen.append(arguments)
        return 3

    offer(monkeypatch, Entry(lambda: train))
    assert run("train", "--help", "recipe.toml", "-x", "--epochs=2").code == 3
    assert seen == [["--help", "recipe.toml", "-x", "--epochs=2"]]


def test_train_without_torch_names_the_extra(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    def load() -> object:
        raise ModuleNotFoundError("No module named 'torch'", name="torch")

    offer(monkeypatch, Entry(load))
    ran = run("train")
    assert ran.code == 1
    assert "'train' needs the package torch, which isn't installed" in ran.err
    assert "pip install 'tallytare[train]'" in ran.err


def test_train_that_is_not_installed(run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    offer(monkeypatch)
    ran = run("train")
    assert ran.code == 1
    assert "'train' isn't part of this installation" in ran.err


def test_taken_port_is_named(run: Run) -> None:
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = taken.getsockname()[1]
        ran = run("serve", "--port", port)
    assert ran.code == 1
    assert f"127.0.0.1 port {port} can't be listened on" in ran.err
    assert "give --port another number" in ran.err


def test_impossible_port_is_a_usage_error(run: Run) -> None:
    ran = run("serve", "--port", 99_999)
    assert ran.code == 2
    assert "--port is 99999" in ran.said


def test_unknown_host_is_named(run: Run) -> None:
    ran = run("serve", "--host", "no.such.host.invalid", "--port", 0)
    assert ran.code == 1
    assert re.search(r"no\.such\.host\.invalid port \d+ can't be listened on", ran.err)


@pytest.mark.parametrize(
    ("host", "local", "shown"),
    [
        ("127.0.0.1", True, "127.0.0.1"),
        ("localhost", True, "localhost"),
        ("::1", True, "[::1]"),
        ("0.0.0.0", False, "localhost"),
        ("192.168.1.7", False, "192.168.1.7"),
        ("sorting-room", False, "sorting-room"),
    ],
)
def test_addresses(host: str, local: bool, shown: str) -> None:
    assert is_loopback(host) is local
    assert serve._shown(host) == shown


@pytest.mark.skipif(sys.platform == "win32", reason="Ctrl+C is sent otherwise on Windows")
def test_serve_answers_and_stops_at_ctrl_c(tiny: Path, tmp_path: Path) -> None:
    environment = os.environ | {
        "TALLYTARE_BUNDLE": str(tiny),
        "TALLYTARE_DATA_DIR": str(tmp_path / "data"),
        "PYTHONUNBUFFERED": "1",
    }
    command = [
        sys.executable,
        "-c",
        "from service.cli.main import main; main()",
        "serve",
        "--port",
        "0",
    ]
    with subprocess.Popen(
        command, env=environment, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True
    ) as process:
        try:
            assert process.stdout is not None
            address = None
            for line in process.stdout:
                if found := re.search(r"http://127\.0\.0\.1:\d+/", line):
                    address = found.group()
                    break
            assert address is not None
            with urllib.request.urlopen(f"{address}api/health", timeout=20) as answer:
                assert answer.status == 200
            process.send_signal(signal.SIGINT)
            out, err = process.communicate(timeout=20)
        finally:
            process.kill()
    assert process.returncode == 0
    assert "Stopped." in out
    assert "Traceback" not in err
