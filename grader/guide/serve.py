"""The guide in the browser of this machine: what may be asked for is known in advance, and nothing else answers."""

from __future__ import annotations

from collections.abc import Mapping
from http import HTTPStatus
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

from grader.guide.pages import FIRST, guide_folder, guide_pages
from grader.guide.render import page_html

_KINDS = {".png": "image/png", ".jpg": "image/jpeg", ".webp": "image/webp", ".svg": "image/svg+xml"}
_HEADERS = {
    "Content-Security-Policy": "default-src 'none'; img-src 'self'; style-src 'unsafe-inline'; "
    "frame-ancestors 'none'",
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cache-Control": "no-cache",
}


def guide_server(port: int, folder: Path | None = None) -> ThreadingHTTPServer:
    """A server of the guide on this machine alone; it serves once it is told to.

    Args:
        port: 0 for any free one.
        folder: of the guide; the one that comes with the program if None.

    Raises:
        UsageError: as ``guide_folder``.
        OSError: the port is taken.
    """
    known = _answers(guide_folder() if folder is None else folder)

    class Handler(BaseHTTPRequestHandler):
        """Answers with what is known by its address."""

        server_version, sys_version = "guide", ""

        def do_GET(self) -> None:
            self._answer(with_body=True)

        def do_HEAD(self) -> None:
            self._answer(with_body=False)

        def log_message(self, format: str, *args: object) -> None:  # noqa: A002 - the library's name
            """Nothing is said of what is read."""

        def _answer(self, *, with_body: bool) -> None:
            path = self.path.partition("?")[0]
            kind, body = known.get(path, ("text/plain; charset=utf-8", b"The guide has no such page."))
            self.send_response(HTTPStatus.OK if path in known else HTTPStatus.NOT_FOUND)
            for name, value in {**_HEADERS, "Content-Type": kind, "Content-Length": str(len(body))}.items():
                self.send_header(name, value)
            self.end_headers()
            if with_body:
                self.wfile.write(body)

    return ThreadingHTTPServer(("127.0.0.1", port), Handler)


def _answers(folder: Path) -> Mapping[str, tuple[str, bytes]]:
    """Type and content of all that the guide holds, by address; a page answers under its file's name as well."""
    pages = guide_pages(folder)
    known: dict[str, tuple[str, bytes]] = {}
    for page in pages:
        answer = ("text/html; charset=utf-8", page_html(page, pages).encode())
        known |= {f"/{page.name}": answer, f"/{page.name}.md": answer}
    known["/"] = known[f"/{FIRST}"]
    for path in folder.rglob("*"):
        if path.suffix in _KINDS:
            known[f"/{path.relative_to(folder).as_posix()}"] = (_KINDS[path.suffix], path.read_bytes())
    return known
