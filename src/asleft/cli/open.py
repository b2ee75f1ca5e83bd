"""`asleft open`: the page for real machines; and how a page is served from the terminal.

The first line on standard output is the address. With `--lan` the pass key is shown, also as a
QR code. Not for what the page shows; that is `page`.
"""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from asleft.cli.session import Session, shared_options

if TYPE_CHECKING:
    from collections.abc import Callable
    from typing import Any

    from asleft.bench import Workplace
    from asleft.page.house import Practice


@click.command("open")
@click.option("--lan", is_flag=True, help="For your phone too: with a pass key, shown here.")
@click.option("--page-port", type=click.IntRange(0, 65535), help="Else 8723, or a free one.")
@click.option("--no-browser", is_flag=True, help="Do not open a browser.")
@shared_options
@click.pass_obj
def open_command(session: Session, /, *, lan: bool, page_port: int | None, no_browser: bool) -> int:
    """Serve the page, which carries the whole job; Ctrl-C stops it, heaters off.

    It listens on this computer alone, unless --lan is given. Stay with a heated machine.
    """
    session.prepare_home()
    serve_page(session.workplace(), lan=lan, page_port=page_port, browser=not no_browser)
    return 0


def page_options(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--lan`, `--page-port` and `--no-browser` to another command that serves the page."""
    for decorate in (
        click.option("--no-browser", is_flag=True, help="Do not open a browser."),
        click.option(
            "--page-port", type=click.IntRange(0, 65535), help="Else 8723, or a free one."
        ),
        click.option(
            "--lan", is_flag=True, help="For your phone too: with a pass key, shown here."
        ),
    ):
        command = decorate(command)
    return command


def serve_page(
    home: Workplace,
    *,
    lan: bool,
    page_port: int | None,
    browser: bool,
    practice: Practice | None = None,
) -> None:
    """Serve until a signal ends it.

    Raises:
        RefusedError: the port asked for is in use.
        KeyboardInterrupt: a signal ended it; the machines are safe.
    """
    from asleft.page.doors import Keys
    from asleft.page.house import House
    from asleft.page.serving import lan_address, listener, ready, serve

    with listener(page_port, lan=lan) as sock:
        port = sock.getsockname()[1]
        host = lan_address() if lan else "127.0.0.1"
        address = f"http://{host}:{port}/"
        house = House(home, Keys(home.folder), practice=practice, lan=lan, address=address)
        server = ready(house, sock)
        click.echo(address)
        sys.stdout.flush()
        if sys.stderr.isatty():
            click.echo("Open it, if no browser did. Ctrl-C ends it, heaters off.", err=True)
        if lan:
            _show_key(f"{address}key", house.keys.key)
        if browser:
            import webbrowser

            webbrowser.open(f"{address}key#{house.keys.key}" if lan else address)
        serve(server, house, sock)


def _show_key(address: str, key: str) -> None:
    """The pass key, and a code that a phone's camera opens; the key stands behind its #."""
    import segno

    click.echo(f"Pass key: {key}", err=True)
    code = segno.make(f"{address}#{key}", micro=False)
    try:
        code.terminal(out=sys.stderr, compact=True)
    except UnicodeEncodeError:  # a terminal without block letters
        click.echo("(The code cannot be drawn here; type address and key.)", err=True)
