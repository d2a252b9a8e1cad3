"""A fit spread over workers: the numbers of the serial one, also where workers die."""

from __future__ import annotations

import builtins
import os
import signal
import threading

import numpy as np
import pytest
from tintladder.calibrate.errors import InputError
from tintladder.calibrate.fit.joint import fit_paints
from tintladder.calibrate.fit.problem.settings import FitSettings
from tintladder.calibrate.fit.problem.spread import each, spread_over
from tintladder.database.fits import cluster

from .bench.scale_paints import nickname, readings, tube

SETTINGS = FitSettings(model="transport")


def fitted(paints):
    read, tubes = readings(range(paints)), {nickname(i): tube(i) for i in range(paints)}
    return fit_paints(read, tubes, SETTINGS, leave_out=True)


def alike(one, other):
    for name in ("k", "s", "part_error", "crowding"):
        mine, theirs = getattr(one.coefficients, name), getattr(other.coefficients, name)
        assert np.array_equal(mine, theirs, equal_nan=True), name
    assert one.left_out.equals(other.left_out) and one.nuisances.equals(other.nuisances)


def kill_workers_of(client, times, over):
    """Kill one worker after another while a fit runs; each is started anew."""
    killed = 0
    while killed < times and not over.wait(0.3):
        for process in client.run(os.getpid, on_error="ignore").values():
            if isinstance(process, int):
                os.kill(process, signal.SIGKILL)
                killed += 1
                break
    return killed


def test_workers_that_die_change_no_number(monkeypatch):
    pytest.importorskip("distributed", reason="the cluster's library is not installed")
    clients = []
    count = cluster._Workers._count
    monkeypatch.setattr(
        cluster._Workers, "_count", lambda self: (clients.append(self.client), count(self))[1]
    )
    serial = fitted(5)
    over = threading.Event()
    with cluster.spread_by(cluster.HERE):
        alike(serial, fitted(5))
        killer = threading.Thread(target=kill_workers_of, args=(clients[0], 3, over))
        killer.start()
        try:
            alike(serial, fitted(5))
        finally:
            over.set()
            killer.join()


def _tenfold(shared, item):
    if item < 0:
        raise InputError(None, "a piece", "expected a number above nothing", "give one")
    return shared * item


def test_pieces_keep_their_order_and_errors_come_through():
    pytest.importorskip("distributed", reason="the cluster's library is not installed")
    with cluster.spread_by(cluster.HERE):
        assert each(_tenfold, 10, list(range(50))) == list(range(0, 500, 10))
        with pytest.raises(InputError, match="a number above nothing"):
            each(_tenfold, 10, [1, 2, -3, 4])


def test_nothing_is_spread_outside():
    class Counting:
        def each(self, work, shared, items):
            return ["elsewhere"] * len(items)

    with spread_over(Counting()):
        assert each(_tenfold, 2, [1, 2]) == ["elsewhere"] * 2
        assert each(_tenfold, 2, [1]) == [2]
    assert each(_tenfold, 2, [1, 2]) == [2, 4]


def test_an_address_where_nothing_answers_is_refused():
    pytest.importorskip("distributed", reason="the cluster's library is not installed")
    for address in ("tcp://127.0.0.1:9", "nowhere://x"):
        told = pytest.raises(InputError, match="no scheduler of a cluster answers")
        with told, cluster.spread_by(address):
            raise AssertionError


def test_a_worker_of_other_versions_is_refused():
    class Client:
        def run(self, _):
            return {"tcp://a:1": cluster._versions() | {"numpy": "1.0"}}

        def scheduler_info(self, n_workers):
            return {"workers": {"tcp://a:1": {}}}

    with pytest.raises(InputError, match=r"this worker runs numpy 1\.0, and here"):
        cluster._Workers(Client(), "tcp://a:0").check_versions()


def test_a_cluster_that_is_gone_is_given_up_in_one_line(monkeypatch):
    class Client:
        def scheduler_info(self, n_workers):
            return {}

    monkeypatch.setattr(cluster, "_PATIENCE", 0.1)
    with pytest.raises(InputError, match="has had no worker for 0 seconds"):
        cluster._Workers(Client(), "tcp://a:0").each(_tenfold, 10, [1, 2])


def test_without_the_library_it_says_what_to_install(monkeypatch):
    real = builtins.__import__

    def none(name, *rest, **more):
        if name in ("dask", "distributed"):
            raise ModuleNotFoundError(name)
        return real(name, *rest, **more)

    monkeypatch.setattr(builtins, "__import__", none)
    told = pytest.raises(InputError, match=r"tintladder\[cluster\]")
    with told, cluster.spread_by(cluster.HERE):
        raise AssertionError
