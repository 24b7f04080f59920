"""The real daemon as a child process and a board, as `tests/service` has them."""

from service.conftest import board, daemon

__all__ = ["board", "daemon"]
