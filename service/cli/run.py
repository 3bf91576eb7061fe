"""Commands that run for long: demo, serve; and the test of a channel."""

from __future__ import annotations

import asyncio
import os
from collections.abc import AsyncIterator, Callable
from contextlib import AbstractAsyncContextManager, asynccontextmanager
from typing import TYPE_CHECKING, Any

import click

from service.cli.app import DONE, PARTLY, book, db_option, json_option, say_json, settings
from service.errors import DeliveryError, InputError

if TYPE_CHECKING:
    from service.flows.ports import Deps
    from service.settings import Settings

HOST, PORT = "127.0.0.1", 8750


@click.command("demo")
@click.option("--port", type=click.IntRange(1, 65535), default=PORT, show_default=True)
@click.option("--once", is_flag=True, help="One pass, then exit.")
@click.option("--keep", is_flag=True, help="Go on with the demo's book of the last time.")
@json_option
@db_option
def demo_command(port: int, *, once: bool, keep: bool, as_json: bool) -> int:
    """The main job on invented suppliers that are served on this machine.

    Loads a catalogue and a year of prices, polls the shops over HTTP, reprices the
    build and shows the deals; then serves the pages. Its book is its own, never yours.
    """
    from service.demo.once import demo_book, demo_settings, one_pass  # noqa: PLC0415
    from service.settings import data_dir, load_settings  # noqa: PLC0415  start-up time

    chosen = click.get_current_context().find_root().obj
    own = demo_settings(load_settings(), chosen, data_dir(os.environ))
    with demo_book(own, keep=keep) as deps:
        answer = asyncio.run(one_pass(deps))
        say_json(answer) if as_json else _show_demo(answer)
        if not once:
            _serve(deps, own, HOST, port)
    return DONE


def _show_demo(answer: Any) -> None:
    from service.cli.show import show_deals  # noqa: PLC0415  start-up time
    from service.cli.show_cost import show_cost  # noqa: PLC0415  start-up time

    polled = answer["polled"]
    click.echo(
        f"{polled['ok']} pages read and {polled['unchanged']} unchanged at "
        f"{polled['hosts']} invented shops on this machine\n"
    )
    show_cost(answer["build"])
    click.echo()
    show_deals(answer["deals"])


@click.command("serve")
@click.option("--host", default=HOST, show_default=True)
@click.option("--port", type=click.IntRange(1, 65535), default=PORT, show_default=True)
@db_option
def serve_command(host: str, port: int) -> int:
    """Schedule, pages and API in one process; stop it with Ctrl-C."""
    own = settings()
    with book() as deps:
        _serve(deps, own, host, port)
    return DONE


def _serve(deps: Deps, own: Settings, host: str, port: int) -> None:
    import uvicorn  # noqa: PLC0415  start-up time

    from service.bootstrap import log_to_stderr  # noqa: PLC0415  start-up time
    from service.web.app import create_app  # noqa: PLC0415  start-up time
    from service.web.exposure import Exposure  # noqa: PLC0415  start-up time

    log_to_stderr()
    place = Exposure.of(own, host)
    app = create_app(deps, settings=own, exposure=place, lifespan=_lifespan(deps, own))
    scheme = "https" if own.tls else "http"
    click.echo(f"pages at {scheme}://{host}:{port}/ (stop with Ctrl-C)", err=True)
    uvicorn.run(
        app,
        host=host,
        port=port,
        log_level="warning",
        server_header=False,
        proxy_headers=bool(own.proxies),  # nobody else may say where a request came from
        forwarded_allow_ips=list(own.proxies),
        ssl_certfile=own.tls.certificate if own.tls else None,
        ssl_keyfile=own.tls.key if own.tls else None,
        h11_max_incomplete_event_size=64 * 1024,
        timeout_keep_alive=15,
        limit_concurrency=900,  # below the usual limit of open files
    )


def _lifespan(deps: Deps, own: Settings) -> Callable[[Any], AbstractAsyncContextManager[None]]:
    from service.schedule import running  # noqa: PLC0415  start-up time

    @asynccontextmanager
    async def lifespan(_: Any) -> AsyncIterator[None]:
        async with running(deps, workers=own.workers):
            yield
        await deps.fetcher.aclose()

    return lifespan


@click.command("notify")
@click.option("--test", "channel", required=True, help="Name of the channel to try.")
@db_option
def notify_command(channel: str) -> int:
    """Send a test notice over a channel and say whether it was taken."""
    from service.notices import test_notice  # noqa: PLC0415  start-up time

    with book() as deps:
        if channel not in deps.channels:
            raise InputError(f'no channel "{channel}"; there are: {", ".join(deps.channels)}')
        try:
            asyncio.run(deps.channels[channel].send(test_notice(channel, deps.clock())))
        except DeliveryError as error:
            click.echo(f"{channel}: {error}", err=True)
            return PARTLY
    click.echo(f"{channel}: taken")
    return DONE
