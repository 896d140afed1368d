"""Shared by all tests: what to do when a part that a test needs is missing."""

from __future__ import annotations

import os
import re
from functools import cache

import pytest
from hypothesis import HealthCheck, settings

from fretcheck.workers import use_one_thread

use_one_thread()  # as the command does; the processes that run tests side by side have the cores to share
settings.register_profile("no clock", deadline=None, suppress_health_check=[HealthCheck.too_slow])
settings.load_profile("no clock")  # a busy machine is no fault of the code under test

REQUIRE_ALL = os.environ.get("FRETCHECK_REQUIRE_ALL") == "1"


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """With FRETCHECK_REQUIRE_ALL=1 (as CI sets it) a skip is a failure: nothing may go untested unseen."""
    report = yield
    if REQUIRE_ALL and report.skipped and not hasattr(report, "wasxfail"):
        report.outcome = "failed"
        report.longrepr = f"skipped although FRETCHECK_REQUIRE_ALL=1: {report.longrepr}"
    return report


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers():
    """One more than there are cores: the one that listens in real time leaves most of its own to the others."""
    return len(os.sched_getaffinity(0)) + 1 if hasattr(os, "sched_getaffinity") else None


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config, log):
    """Share the work: modules that listen in real time in one process, what is prepared for a module in one; the rest singly.

    By the text of the modules: pytest-xdist 3.8 writes its groups where pytest 9.2 no longer reads them. Its own scheduler gives
    a process that takes a dead one's place one test, which never runs for want of a next one, and runs the deadly test again.
    """
    from xdist.scheduler import LoadScopeScheduling

    class Shared(LoadScopeScheduling):
        def _split_scope(self, nodeid):
            return _group_of(config.rootpath / nodeid.partition("::")[0]) or nodeid

        def remove_node(self, node):
            """The test that a process died in, if it did; it is not begun again, what the process had still to run is."""
            left = [
                (scope, test) for scope, unit in self.assigned_work.pop(node).items() for test, done in unit.items() if not done
            ]
            for scope, test in left[1:]:
                self.workqueue.setdefault(scope, {})[test] = False
            for other in self.nodes if left else ():
                self._reschedule(other)
            return left[0][1] if left else None

        def _reschedule(self, node):
            """As ever, but until the process knows what to run after its next test, or that there is nothing: else it waits."""
            while node in self.registered_collections and not node.shutting_down:
                super()._reschedule(node)
                if self._pending_of(self.assigned_work[node]) > 1:
                    return

    config.option.loadscopereorder = False  # the order is that of the collection
    return Shared(config, log)


@cache
def _group_of(module):
    text = module.read_text(encoding="utf-8")
    if "mark.live" in text:
        return "live"
    if named := re.search(r'mark\.xdist_group\("([^"]+)"\)', text):
        return named[1]
    return str(module) if 'scope="module"' in text else None


def pytest_collection_modifyitems(items):
    """What listens in real time begins first, then what takes long, then whole modules."""

    def rank(item):
        group = _group_of(item.path)
        return 0 if group == "live" else 1 if item.get_closest_marker("slow") else 2 if group else 3

    items.sort(key=rank)


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_setup(item):
    """Let processes that only compute give way to the one that listens, which begins with that."""
    listens = item.get_closest_marker("live") is not None
    if "PYTEST_XDIST_WORKER" in os.environ and not listens and hasattr(os, "nice") and os.nice(0) < 10:
        os.nice(10)
