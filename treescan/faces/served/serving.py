"""Where is the page open, for whom, and until when?"""

from __future__ import annotations

import socket
from collections.abc import Callable, Sequence
from pathlib import Path

import uvicorn

from treescan.errors import BadInput, RunFailed
from treescan.faces.served.app import House, made_app
from treescan.faces.served.gate import Gate
from treescan.faces.served.phrases import labels
from treescan.faces.served.places import named

LEAST_PASSWORD = 8
ALONE = "127.0.0.1"
EVERYWHERE = ("", "0.0.0.0", "::", "*")


def serve(
    given: Sequence[str], folder: Path, host: str | None, port: int, password: str, told: Callable[[str], None]
) -> None:
    """Serve the page until Ctrl-C.

    Parameters
    ----------
    given : sequence of str     Folders, clouds, tree.json files.
    folder : Path               Where sessions, traced trees and written files go.
    host : str, optional        Address other machines reach it by; None = this machine alone.
    port : int                  0 = any free one.
    password : str              Asked for when `host` is given.
    told : callable             Is given the link once the page is open.
    """
    if host is not None and host in EVERYWHERE:
        raise BadInput(f"--host {host} is no address that others can be sent to", remedy="give the address of this machine itself")
    found = named(given)
    if host is not None and len(password) < LEAST_PASSWORD:
        raise BadInput(f"the password has fewer than {LEAST_PASSWORD} letters", remedy="give a longer one")
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as err:
        raise BadInput(f"cannot be made ({err.strerror})", file=str(folder), remedy="give another folder to -o") from err
    opened = socket.socket(socket.AF_INET, socket.SOCK_STREAM)
    opened.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        opened.bind((host or ALONE, port))
        opened.listen()
    except (OSError, OverflowError) as err:
        raise RunFailed(f"the page cannot be opened at {host or ALONE}:{port}", remedy="give another --port or --host") from err
    gate = Gate(host or ALONE, opened.getsockname()[1], password=password if host is not None else "")
    app = made_app(House(found, folder), gate, labels())
    config = uvicorn.Config(app, log_level="warning", server_header=False, ws="none", timeout_graceful_shutdown=2)
    told(gate.link)
    uvicorn.Server(config).run(sockets=[opened])
