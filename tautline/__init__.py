"""Cable pulling in duct banks: job files, commands and what is handed over.

:func:`run_job` is loaded when it is first asked for, so that the command line can print its help without the
libraries behind it.
"""

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from tautline.run import JobRun as JobRun
    from tautline.run import run_job as run_job

__all__ = ["JobRun", "run_job"]


def __getattr__(name: str) -> Any:
    if name in __all__:
        from tautline import run

        return getattr(run, name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
