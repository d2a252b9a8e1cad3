"""A search stops where it is told to, from the page too; what others wait for is found anyway."""

from __future__ import annotations

import threading
import time

import numpy as np
import pytest
from tintladder.database.common.stopping import Stopped, stoppable
from tintladder.database.mixing.palette import Palette
from tintladder.database.mixing.search import search
from tintladder.database.page.worksheet import Searches

from .invented_palette import invented_coefficients


def test_a_search_stops_within_its_blocks():
    palette, asked = Palette(invented_coefficients(9)), []

    def told():
        asked.append(threading.get_ident())
        return len(asked) > 20

    with stoppable(told), pytest.raises(Stopped):
        search(palette, np.array([[55.0, 10.0, 20.0]]))
    # Each of its threads asks, and none goes on for long once that was said.
    assert len(asked) < 200
    assert search(palette, np.array([[55.0, 10.0, 20.0]]), 1)


class Question:
    """Takes until it is stopped the first time, and answers the second time."""

    key = "invented"

    def __init__(self):
        self.begun, self.told = 0, threading.Event()

    def answer(self):
        self.begun += 1
        if self.begun == 1:
            assert self.told.wait(20)
            raise Stopped
        return "found"


def test_whoever_waits_for_a_search_that_another_stops_is_answered():
    searches, question, found = Searches(), Question(), []

    def first():
        with pytest.raises(Stopped), stoppable(lambda: question.told.is_set()):
            searches.answer(question)
        found.append("stopped")

    threads = [threading.Thread(target=first)]
    threads[0].start()
    while not question.begun:
        time.sleep(0.01)
    threads.append(threading.Thread(target=lambda: found.append(searches.answer(question))))
    threads[1].start()
    time.sleep(0.1)
    question.told.set()
    for thread in threads:
        thread.join(20)
    assert sorted(found) == ["found", "stopped"]


def test_the_page_takes_a_stop_for_the_search_of_that_name(demo_page):
    name = "ab" * 16
    assert demo_page.send("/mix/stop", {"search": name}).status == 204
    path = "/mix?target=33,12,-7&look=yes"
    stopped = demo_page.get(path, **{"X-Search": name})
    assert stopped.status == 409 and "the search was stopped" in stopped.text
    assert "Ways there" in demo_page.get(path, **{"X-Search": "cd" * 16}).text
