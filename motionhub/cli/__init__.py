"""The ``motionhub`` command: one thin file per subcommand, imported only when it is asked for."""

from motionhub.cli.group import main

__all__ = ["main"]
