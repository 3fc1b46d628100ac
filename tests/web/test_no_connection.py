"""The service never calls anybody: a whole sort with every outgoing connection forbidden."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from service.web.render import static_directory
from tests.fakes import new_id
from tests.hostile.photographs import photographs
from tests.hostile.server import Server, running
from tests.hostile.wire import BOUND, form
from tests.tiny_bundle import photo_of, write_tiny_bundle

# Python tells audit hooks of every connection, datagram and look-up of a name before it happens.
WATCH = """
import os, sys

def watch(event, given):
    if event in ("socket.connect", "socket.sendto", "socket.sendmsg"):
        where = given[1]
        if isinstance(where, tuple) and not str(where[0]).startswith(("127.", "::1")):
            tell(event, where)
    elif event in ("socket.getaddrinfo", "socket.gethostbyname", "socket.gethostbyaddr"):
        # No name is asked for; addresses and this machine's own name need no answer from others.
        if str(given[0]) not in ("None", "localhost", "127.0.0.1", "0.0.0.0"):
            tell(event, given)
    elif event in ("subprocess.Popen", "os.system", "os.exec", "os.posix_spawn"):
        tell(event, given)

def tell(event, given):
    with open(os.environ["SEEN"], "a") as seen:
        seen.write(f"{event} {given!r}\\n")
    raise OSError(f"forbidden: {event} {given!r}")

sys.addaudithook(watch)
from service.cli.main import main
main()
"""


@pytest.mark.slow
@pytest.mark.parametrize("arguments", [(), ("--host", "0.0.0.0", "--https")])
def test_a_whole_sort_without_a_connection(tmp_path: Path, arguments: tuple[str, ...]) -> None:
    """From the start of the server to the report: none is tried, so none is missed."""
    bundle = write_tiny_bundle(tmp_path / "bundle")
    seen = tmp_path / "seen.txt"
    secure = bool(arguments)
    with running(
        tmp_path / "store" / "data",
        bundle=str(bundle),
        arguments=arguments,
        code=WATCH,
        env={"SEEN": str(seen)},
        secure=secure,
    ) as server:
        _whole_sort(server)
    assert not seen.exists(), seen.read_text()
    assert "Traceback" not in server.log.read_text("utf-8", "replace")


def _whole_sort(server: Server) -> None:
    sort, item, weighing = new_id(), new_id(), new_id()
    started = f"sort_id={sort}&name=Bag&sorted_on=2026-05-01&days=7&persons=2"
    server.ask("/sorts", f"{started}&programme_id=alder_valley&sorters=Ana".encode())
    captures = []
    for photo in (photo_of("food_can"), *(files[0] for files in photographs().values())):
        captures.append(new_id())
        kind = f"multipart/form-data; boundary={BOUND}"
        server.ask(f"/api/sorts/{sort}/captures", form(captures[-1], photo), kind)
    server.send(
        f"/api/sorts/{sort}/items",
        {"item_id": item, "capture_id": captures[0], "category": "steel_cans", "count": 2},
    )
    reading = {"method": "container", "unit": "kg", "resolution": "0.02", "gross": "1.2"}
    server.send(
        f"/api/sorts/{sort}/weighings",
        {"weighing_id": weighing, "category": "steel_cans", **reading},
    )
    for path in ("", "/piles", "/report"):
        assert b"</html>" in server.ask(f"/sorts/{sort}{path}")
    for path in ("report.json", "report.csv", "tally", "items"):
        assert server.ask(f"/api/sorts/{sort}/{path}")
    for path in ("/", "/devices", "/categories", "/sw.js", "/api/openapi.json", "/api/health"):
        assert server.ask(path)
    server.send(f"/api/sorts/{sort}/close", {"event_id": new_id()})


def test_the_watch_sees_a_connection(tmp_path: Path) -> None:
    """Else its silence would prove nothing."""
    seen = tmp_path / "seen.txt"
    for line in (
        "socket.create_connection(('192.0.2.99', 80))",
        "socket.socket(socket.AF_INET, socket.SOCK_DGRAM).connect(('192.0.2.99', 53))",
        "socket.getaddrinfo('elsewhere.example', 80)",
        "os.system('true')",
    ):
        seen.unlink(missing_ok=True)
        code = WATCH.replace("from service.cli.main import main\nmain()", f"import socket\n{line}")
        done = subprocess.run(
            [sys.executable, "-c", code],
            env=os.environ | {"SEEN": str(seen)},
            capture_output=True,
            check=False,
        )
        assert b"forbidden" in done.stderr, line
        assert seen.read_text(), line


def test_no_file_of_the_pages_names_another_address() -> None:
    """Scripts, style sheets and templates load from here alone; XML namespaces are only names."""
    folder = Path(static_directory()).parent
    for path in [*folder.glob("static/**/*"), *folder.glob("templates/**/*")]:
        if path.is_file():
            text = path.read_text(encoding="utf-8")
            found = re.findall(r"(?:https?:|wss?:)?//[a-z0-9.-]+\.[a-z]{2,}[^\s\"'<]*", text)
            assert {each for each in found if "www.w3.org/" not in each} == set(), path.name
