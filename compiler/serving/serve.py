"""The embedded server, opened and closed."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from aiohttp import web

from bellcrank.serving.app import Server


class ServeError(Exception):
    """The page cannot be served, as a sentence without its full stop."""


@asynccontextmanager
async def serving(server: Server, host: str, port: int) -> AsyncIterator[int]:
    """Serve as long as it is entered; gives the port. Raises ServeError."""
    runner = web.AppRunner(server.app(), access_log=None, shutdown_timeout=1.0)
    await runner.setup()
    try:
        site = web.TCPSite(runner, host, port)
        try:
            await site.start()
        except OSError as error:
            why = error.strerror or str(error)
            raise ServeError(
                f"the page cannot be served at {host}:{port}: {why.lower()}; --serve says where"
            ) from None
        yield int(runner.addresses[0][1])
    finally:
        await runner.cleanup()
