"""Where the log goes: standard error, as text for people or as JSON lines for machines."""

from __future__ import annotations

import logging
import sys

import structlog
from structlog.tracebacks import ExceptionDictTransformer

from underlid.config import Settings

_WITHOUT_VALUES = ExceptionDictTransformer(show_locals=False)
"""Of an error only where it was: the values at hand may be addresses and passphrases."""


def set_log_up(settings: Settings) -> None:
    """Set the log up as the settings say; libraries are heard from warnings on."""
    level = logging.getLevelNamesMapping()[settings.log_level.upper()]
    renderer: structlog.types.Processor = (
        structlog.processors.JSONRenderer()
        if settings.log_format == "json"
        else structlog.dev.ConsoleRenderer(colors=sys.stderr.isatty())
    )
    structlog.configure(
        processors=[
            structlog.contextvars.merge_contextvars,
            structlog.processors.add_log_level,
            structlog.processors.TimeStamper(fmt="iso", utc=True),
            structlog.processors.StackInfoRenderer(),
            *(
                [structlog.processors.ExceptionRenderer(_WITHOUT_VALUES)]
                if settings.log_format == "json"
                else [structlog.processors.format_exc_info]
            ),
            renderer,
        ],
        wrapper_class=structlog.make_filtering_bound_logger(level),
        logger_factory=structlog.PrintLoggerFactory(sys.stderr),
        cache_logger_on_first_use=False,
    )
    logging.basicConfig(stream=sys.stderr, level=max(level, logging.WARNING))
    logging.getLogger("apscheduler").setLevel(logging.ERROR)  # a tick that is still busy is no news
