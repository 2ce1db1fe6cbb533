"""Folders beside the checkout that some tests read; a test skips with a reason where they are absent."""

from __future__ import annotations

import gc
import os
import shutil
import sys
import tempfile
from collections.abc import Generator
from pathlib import Path

import pytest

# Several processes share the processors: a library's threads would wait for each other. Told before numpy comes.
# What one has compiled all read, whatever the environment says: else each begins by compiling for a second.
os.environ |= {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", "PYTHONDONTWRITEBYTECODE": ""}

from landed import MADE

ROOT = Path(__file__).resolve().parents[1]
SHARED = ROOT.parent / "shared"


LONG = (
    "test_blocks", "test_whole_day", "test_cli", "test_cluster", "test_pages_in_browser", "test_day_in_browser",
    "test_browser", "test_fit", "test_batch", "test_dispatch", "test_compare", "test_kills", "test_dose",
    "test_whatif", "test_whatif_published", "test_fitting_day", "test_hostile", "test_same_doubts", "test_personal",
    "test_insole_folder", "test_intervals", "test_faults", "test_synthetic", "test_on_insole", "test_foundation",
    "test_coverage", "test_balance",
)  # fmt: skip
"""Files that take longest begin first, the longest before the others, so that several processes end together."""


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    order = {name: place for place, name in enumerate(LONG)}
    items.sort(key=lambda item: order.get(item.path.stem, len(LONG)))


@pytest.hookimpl(optionalhook=True, wrapper=True)
def pytest_xdist_auto_num_workers() -> Generator[None, int, int]:
    """One more than there are processors: who waits for a browser or a process leaves one idle."""
    processors = yield
    return processors + 1


def pytest_configure(config: pytest.Config) -> None:
    gc.set_threshold(50_000, 20, 20)  # to look for garbage among all tests took a twentieth of the time
    sys.dont_write_bytecode = False
    if hasattr(config.option, "loadscopereorder"):  # of the plugin for several processes: that order stays
        config.option.loadscopereorder = False
    if not hasattr(config, "workerinput"):  # the workers get the folder of the process that starts them
        os.environ[MADE] = tempfile.mkdtemp(prefix="landings_")


def pytest_unconfigure(config: pytest.Config) -> None:
    if not hasattr(config, "workerinput"):
        shutil.rmtree(os.environ.pop(MADE), ignore_errors=True)


def _folder(name: str) -> Path:
    folder = SHARED / name
    if not folder.is_dir():
        pytest.skip(f"../shared/{name} is not beside this checkout")
    return folder


@pytest.fixture(scope="session")
def root() -> Path:
    """The checkout."""
    return ROOT


@pytest.fixture(scope="session")
def shared_c3d() -> Path:
    """Published recordings."""
    return _folder("c3d")


@pytest.fixture(scope="session")
def shared_reference() -> Path:
    """Published tables."""
    return _folder("reference")
