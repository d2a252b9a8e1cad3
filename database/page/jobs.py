"""Work that takes longer than a page should: done beside it, watched from it.

A job holds nothing that isn't in the studio: where the server stops, what was kept is kept, the
rest never began.
"""

from __future__ import annotations

import secrets
import sys
import traceback
from collections import OrderedDict
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

from ...calibrate.errors import InputError
from ..common.stopping import Stopped, go_on, stoppable
from .remedies import on_page

Progress = Callable[[str], None]
Work = Callable[[Progress], str]
"""Does the work, says how far it is, and returns the path of the page that shows the result."""
_KEPT = 200
"""Jobs that are remembered."""
MOST_WAITING = 8
"""Jobs that may wait for others."""


@dataclass
class Job:
    """One piece of work.

    Attributes
    ----------
    title : str
        What goes on, for the heading.
    back : str
        Path of the page that it was asked from.
    words : str
        How far it is.
    path : str or None
        Of the page to show once it is done.
    fault : str or None
        Why it couldn't be done.
    stopping : bool
        Whether it was told to stop; it does so before it writes anything.
    """

    title: str
    back: str
    words: str = "waiting for what was asked before"
    path: str | None = None
    fault: str | None = None
    stopping: bool = False

    @property
    def done(self) -> bool:
        """Whether it has ended, well or not."""
        return self.path is not None or self.fault is not None


class Jobs:
    """The jobs of a server: done one after another, so that two windows never fit at once."""

    def __init__(self) -> None:
        self._worker = ThreadPoolExecutor(1, thread_name_prefix="job")
        self._jobs: OrderedDict[str, Job] = OrderedDict()

    def start(self, title: str, back: str, work: Work) -> str:
        """Begin some work; return the path of the page that watches it.

        Raises
        ------
        InputError
            Where too much waits already.
        """
        if sum(not job.done for job in self._jobs.values()) > MOST_WAITING:
            raise InputError(
                None, None, f"{MOST_WAITING} pieces of work wait already",
                "wait until some are done, or stop them",
            )  # fmt: skip
        job, name = Job(title, back), secrets.token_urlsafe(9)
        self._jobs[name] = job
        while len(self._jobs) > _KEPT:
            self._jobs.popitem(last=False)
        self._worker.submit(_run, job, work)
        return f"/jobs/{name}"

    def get(self, name: str) -> Job | None:
        """Return a job; None where this server never began it."""
        return self._jobs.get(name)

    def stop(self, name: str) -> Job | None:
        """Have a job stop; None where this server never began it."""
        job = self._jobs.get(name)
        if job is not None:
            job.stopping = True
        return job

    def close(self) -> None:
        """Begin nothing more."""
        self._worker.shutdown(wait=False, cancel_futures=True)


def _run(job: Job, work: Work) -> None:
    def progress(words: str) -> None:
        go_on()
        job.words = words

    try:
        with stoppable(lambda: job.stopping):
            progress("begun")
            job.path = work(progress)
    except Stopped:
        job.fault = "it was stopped; nothing was half-written"
    except InputError as error:
        job.fault = on_page(error)
    except Exception as error:
        traceback.print_exc(file=sys.stderr)
        said = " ".join(f"{type(error).__name__}: {error}".split())
        job.fault = f"our fault, not yours ({said}); nothing was half-written"
